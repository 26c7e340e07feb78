# Each target alone, on a fresh clone with Python 3.11+ and make, creates .venv, installs and runs.
PYTHON ?= python3
BIN := .venv/bin
READY := .venv/.ready

# modules compiled once, not in each process and run
unexport PYTHONDONTWRITEBYTECODE

# mypy names modules by the folder they lie in, and a checkout may be called anything: it checks a copy called ringwright
TYPES := rm -rf .venv/types && mkdir -p .venv/types/ringwright \
	&& cp -R *.py py.typed pyproject.toml models optimizer reports scenarios tests .venv/types/ringwright \
	&& cd .venv/types && ../bin/mypy --config-file ringwright/pyproject.toml --cache-dir ../mypy ringwright

.PHONY: demo test test-page browser quick types soak compat bench pictures clean

$(READY): pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	touch $(READY)

demo: $(READY)
	$(BIN)/ringwright plan scenarios/four-over-the-equator.toml
	@mkdir -p build
	$(BIN)/ringwright page scenarios/four-over-the-equator.toml --out build/four-over-the-equator.html

# mypy takes one core while the tests start; the page has a target of its own
test: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/lint-imports
	@{ $(TYPES); } > .venv/types.log 2>&1 & types=$$!; \
	$(BIN)/pytest -n 2 --dist worksteal -m "not page"; status=$$?; \
	wait $$types || status=1; \
	echo "mypy --strict:"; cat .venv/types.log; exit $$status

# the page of a plan, and the desk, in a headless browser
test-page: browser
	$(BIN)/pytest -n 2 --dist loadfile -m page tests/reports/page tests/reports/desk

# Chromium from the system's packages, and the library that drives it; says so where it cannot be had
browser: $(READY)
	@$(BIN)/python -c "import playwright, axe_playwright_python" 2>/dev/null \
		|| $(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[page]' \
		|| { echo "the browser's driver cannot be installed: pip install -e '.[page]' failed" >&2; exit 1; }
	@command -v chromium >/dev/null || command -v chromium-browser >/dev/null \
		|| { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium fonts-dejavu-core >/dev/null; } \
		|| { echo "chromium cannot be installed: apt-get failed; install it and run make test-page again" >&2; exit 1; }

types: $(READY)
	$(TYPES)

# units, published checks and one scenario end to end: for every save
quick: $(READY)
	$(BIN)/ruff check .
	$(BIN)/pytest -n 2 -k "not best_known" tests/models tests/published tests/reports/test_result.py tests/test_package.py \
		"tests/test_golden.py"

# The long campaigns, part after part to the last, with a line for each; what was cut off goes on. One part alone by
# `make soak PART=properties`. Each fits in 9 minutes.
soak_exhaustive := tests/optimizer/test_against_exhaustive.py
soak_properties := tests/optimizer/test_properties.py
soak_relations := tests/optimizer/test_relations.py
soak_windows := tests/optimizer/test_random_windows.py
soak_cuts := tests/optimizer/choice/test_cuts.py tests/optimizer/choice/test_remedies.py tests/optimizer/choice/test_ties.py tests/optimizer/flown_plans/test_liftoffs.py
soak_printed := tests/independent/test_printed_flight.py tests/independent/test_uneven_slots.py tests/independent/test_carrier_drops.py tests/independent/test_carrier_turns.py tests/independent/test_respacing.py tests/independent/test_ring_phase.py
soak_flights := tests/optimizer/test_second_flight.py tests/optimizer/test_where_let_go.py tests/optimizer/catalogue/test_free_form.py tests/optimizer/catalogue/test_ways_up.py tests/optimizer/catalogue/test_sliding.py tests/optimizer/trajectory/test_oblate_plans.py tests/optimizer/robustness/test_hold.py tests/optimizer/routes/test_carrier.py
soak_home := tests/optimizer/replan/test_repair.py tests/optimizer/robustness/test_closed_loop.py
soak_table := tests/optimizer/rendezvous/test_best_known.py tests/optimizer/rendezvous/test_lower_bound.py
soak_sweep := tests/optimizer/studies/test_sweep.py tests/optimizer/studies/test_respace.py
soak_figures := tests/reports/page/test_data.py tests/reports/figures/test_text_boxes.py tests/test_pictures.py tests/test_benchmarks.py
soak_values := tests/reports/test_one_value.py
soak_drift := tests/published/test_nodal_drift.py tests/optimizer/routes/test_other_planes.py tests/independent/test_launched_drift.py
soak_forces := tests/independent/test_under_forces.py tests/published/test_forces.py tests/independent/test_full_flight.py tests/independent/test_left_alone.py tests/optimizer/robustness/test_hold_by_forces.py tests/optimizer/robustness/test_keeping.py tests/optimizer/robustness/test_under_forces.py
soak_held := tests/independent/test_held.py tests/independent/test_replanned.py
soak_year := tests/independent/test_held_a_year.py tests/independent/test_kept.py
FUZZ_PARTS := $(foreach n,1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20,fuzz-$(n))
SOAK_PARTS := exhaustive properties relations windows cuts printed flights home table sweep figures values drift forces held year $(FUZZ_PARTS) compat
PART ?= all

soak: $(READY)
ifeq ($(PART),all)
	$(BIN)/python tests/soak.py $(SOAK_PARTS)
else ifeq ($(PART),compat)
	$(MAKE) compat
else ifneq (,$(filter fuzz-%,$(PART)))
	RINGWRIGHT_SOAK=1 RINGWRIGHT_FUZZ_PART=$(subst fuzz-,,$(PART))/20 $(BIN)/pytest -m soak tests/fuzz
else
	RINGWRIGHT_SOAK=1 $(BIN)/pytest -n 2 -m soak $(soak_$(PART))
endif

compat: $(READY)
	$(BIN)/python tests/compat.py

# the pictures of the README, the moving one of the page by a browser
pictures: browser
	$(BIN)/python tests/pictures.py
	$(BIN)/python tests/moving_page.py

BENCHMARKS := catalogue_speed schedule_sizes many_launches front_times respace_speed freeform_times start_up budget_speed hold_speed page_speed

bench: $(READY)
	for name in $(BENCHMARKS); do $(BIN)/python tests/benchmarks/$$name.py && echo || exit 1; done
	$(BIN)/python tests/benchmarks/growth.py reports/pictures/growth.svg

clean:
	rm -rf .venv build *.egg-info
