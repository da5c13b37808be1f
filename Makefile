# Everything on a fresh machine with Python 3.11, make and the package registries.
#   make demo       the main job on a bench car, live in the browser
#   make test       all tests, browser included (under 8 minutes on 2 cores)
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.asleft-setup

.PHONY: demo demo-unattended test test-full soak lint types imports pictures system clean

$(STAMP): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "asleft needs Python 3.11 or later; call make PYTHON=python3.11 ...")'
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

system:
	@sh scripts/system-packages.sh

demo: $(STAMP)
	$(BIN)/asleft demo

demo-unattended: $(STAMP)
	$(BIN)/asleft demo --unattended --out out

test: $(STAMP) system lint types imports
	$(BIN)/python -m pytest -n 3 --dist worksteal -m "not full and not soak"

test-full: $(STAMP) system lint types imports
	ASLEFT_FULL=1 $(BIN)/python -m pytest -n 3 --dist worksteal -m "not soak"

# What has passed is kept in .soak/ until all of it has: broken off, it goes on where it was.
soak: $(STAMP)
	ASLEFT_SOAK=.soak $(BIN)/python -m pytest -n 3 --dist worksteal -m soak
	rm -rf .soak

lint: $(STAMP)
	$(BIN)/ruff check src tests scripts benchmarks
	$(BIN)/ruff format --check src tests scripts benchmarks

types: $(STAMP)
	$(BIN)/basedpyright

imports: $(STAMP)
	$(BIN)/lint-imports --no-cache

pictures: $(STAMP) system
	$(BIN)/python scripts/make_pictures.py

clean:
	rm -rf build dist out .pytest_cache .ruff_cache .hypothesis
