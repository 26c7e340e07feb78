# Each target alone, on a fresh clone with Python 3.11+ and make, creates .venv, installs and runs.
PYTHON ?= python3
BIN := .venv/bin
READY := .venv/.ready

.PHONY: demo test soak bench clean

$(READY): pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	touch $(READY)

demo: $(READY)
	$(BIN)/ringwright plan scenarios/four-over-the-equator.toml

test: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy .
	$(BIN)/lint-imports
	$(BIN)/pytest -n 2

soak: $(READY)
	RINGWRIGHT_SOAK=1 $(BIN)/pytest -n 2 -m soak

clean:
	rm -rf .venv build *.egg-info
