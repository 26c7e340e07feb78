# Each target alone, on a fresh clone with Python 3.11+ and make, creates .venv, installs and runs.
PYTHON ?= python3
BIN := .venv/bin
READY := .venv/.ready

# mypy names modules by the folder they lie in, and a checkout may be called anything: it checks a copy called ringwright
TYPES := rm -rf .venv/types && mkdir -p .venv/types/ringwright \
	&& cp -R *.py py.typed pyproject.toml models optimizer reports scenarios tests .venv/types/ringwright \
	&& cd .venv/types && ../bin/mypy --config-file ringwright/pyproject.toml --cache-dir ../mypy ringwright

.PHONY: demo test types soak compat bench pictures clean

$(READY): pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	touch $(READY)

demo: $(READY)
	$(BIN)/ringwright plan scenarios/four-over-the-equator.toml

test: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(TYPES)
	$(BIN)/lint-imports
	$(BIN)/pytest -n 2

types: $(READY)
	$(TYPES)

soak: $(READY) compat
	RINGWRIGHT_SOAK=1 $(BIN)/pytest -n 2 -m soak

compat: $(READY)
	$(BIN)/python tests/compat.py

pictures: $(READY)
	$(BIN)/python tests/pictures.py

BENCHMARKS := catalogue_speed schedule_sizes front_times freeform_times start_up budget_speed

bench: $(READY)
	for name in $(BENCHMARKS); do $(BIN)/python tests/benchmarks/$$name.py && echo || exit 1; done
	$(BIN)/python tests/benchmarks/growth.py reports/pictures/growth.svg

clean:
	rm -rf .venv build *.egg-info
