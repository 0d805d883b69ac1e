# Needs Python 3.11 or newer and make; everything else is put into .venv here.
#   make demo    load the two sample sites and open the pages
#   make test    every ring of tests, short; make long adds the slow ones

PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
INSTALL_SELF := $(PIP) install --no-deps --no-build-isolation --editable .
SHORT := -m "not slow and not qgis"
RINGS := unit published contract store browser clients benchmarks
ASSETS := service/assets/package-lock.json service/assets/files.py
WORDS := service/web/translations

.PHONY: demo run-environment environment test long qgis lint types format translations $(RINGS) real_inputs chromium pictures lock clean
.DEFAULT_GOAL := help

help:
	@sed -n '2,3s/^#   //p' Makefile

demo: run-environment
	@$(BIN)/boleward demo $(ARGS)

# --- environments -----------------------------------------------------------------------------------------

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Boleward needs Python 3.11 or newer. Name one: make $(MAKECMDGOALS) PYTHON=python3.12"; exit 2; }
	@$(PYTHON) -m venv .venv || \
	  { echo "Python's venv is missing. On Debian: sudo apt-get install python3-venv"; exit 2; }

run-environment: $(if $(wildcard .venv/test.stamp),.venv/test.stamp,.venv/run.stamp) .venv/words.stamp

.venv/run.stamp: requirements-run.lock pyproject.toml $(ASSETS) | $(BIN)/python
	@echo "Installing what Boleward needs into .venv (once, a few minutes, from the internet) ..."
	@$(PIP) install --require-hashes -r requirements-run.lock
	@$(INSTALL_SELF)
	@touch $@

environment: .venv/test.stamp .venv/words.stamp

.venv/test.stamp: requirements.lock pyproject.toml $(ASSETS) | $(BIN)/python
	@echo "Installing what Boleward and its tests need into .venv (once, a few minutes) ..."
	@$(PIP) install --require-hashes -r requirements.lock
	@$(INSTALL_SELF)
	@touch $@

.venv/words.stamp: $(wildcard $(WORDS)/*/LC_MESSAGES/*.po) | $(BIN)/python
	@$(BIN)/python -m service.assets.catalogues
	@touch $@

chromium: environment
	@$(BIN)/python -m tests.chromium

# --- tests ------------------------------------------------------------------------------------------------

# What is timed has the machine for itself; the rest runs in two processes.
TIMED := benchmarks real_inputs
APART := unit published contract store browser clients
ALONE := $(APART:%=--ignore=tests/%)
TOGETHER := --numprocesses 2 --dist loadfile $(TIMED:%=--ignore=tests/%)

test: environment chromium lint types
	$(BIN)/pytest $(SHORT) $(ALONE) tests
	$(BIN)/pytest $(SHORT) $(TOGETHER) tests

long: environment chromium lint types
	$(BIN)/pytest $(ALONE) tests
	$(BIN)/pytest $(TOGETHER) tests

qgis: environment
	$(BIN)/pytest -m qgis tests/clients

lint: environment
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: environment
	$(BIN)/mypy

$(RINGS): environment
	$(BIN)/pytest $(SHORT) tests/$@

browser: chromium

real_inputs: environment
	@if [ -z "$$BOLEWARD_INPUTS" ]; then \
	  echo "real_inputs did not run: BOLEWARD_INPUTS names no folder of real lists."; \
	else \
	  echo $(BIN)/pytest $(SHORT) tests/$@; $(BIN)/pytest $(SHORT) tests/$@; \
	fi

# --- upkeep -----------------------------------------------------------------------------------------------

format: environment
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

# Collects the texts of pages anew, gives every language the new ones (empty) and makes them ready.
translations: environment
	$(BIN)/pybabel -q extract -F service/web/babel.cfg -k _l -k N_ --no-location --sort-output \
	  -o $(WORDS)/messages.pot service layers
	$(BIN)/pybabel -q update -i $(WORDS)/messages.pot -d $(WORDS) --no-fuzzy-matching --ignore-obsolete
	@$(BIN)/python -m service.assets.catalogues

pictures: environment chromium
	PICTURES=1 $(BIN)/pytest tests/browser/test_readme_picture.py

lock: environment
	@$(PIP) install uv
	$(BIN)/uv pip compile pyproject.toml --universal --extra postgresql --group dev \
	  --generate-hashes --no-annotate --no-header --quiet -o requirements.lock
	$(BIN)/uv pip compile pyproject.toml --universal --extra postgresql --group build -c requirements.lock \
	  --generate-hashes --no-annotate --no-header --quiet -o requirements-run.lock

clean:
	rm -rf .venv service/web/static/vendor service/assets/node_modules
