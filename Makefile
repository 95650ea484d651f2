# Set-up happens once, inside .venv; nothing outside this folder is touched.
PYTHON ?= python3
BIN := .venv/bin
# An editable install links files one by one, so it is renewed when a file comes or goes.
LINKED := .venv/.linked-$(shell find pyproject.toml plumbstone volumes meshes cli -type f ! -name '*.pyc' | sort | cksum | cut -d' ' -f1)

LINK = PYTHONWARNINGS=ignore $(BIN)/python -m pip install -q -e '.[formats,mat]' --no-build-isolation --config-settings editable_mode=strict

.PHONY: help demo test slow check bench docs clean
.DEFAULT_GOAL := help

help: ## Show these lines
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 10

demo: $(LINKED) ## Set up, lay out the reading-room tank and say where the results are
	@$(BIN)/plumbstone demo demo-results
	@echo "To move its stones in a browser:  $(BIN)/plumbstone serve demo-results"

test: .venv/.test $(LINKED) ## Set up and run the tests
	@$(BIN)/python -m pytest -n auto --dist loadfile $(TESTS)

slow: .venv/.test $(LINKED) ## Run the long trials too (scans by the hundred, fuzzing in full)
	@$(BIN)/python -m pytest -n auto --dist loadfile -m "slow or not slow" $(TESTS)

check: .venv/.check $(LINKED) ## Lint, format and type checks
	@$(BIN)/ruff check . && $(BIN)/ruff format --check . && cd tests && ../$(BIN)/mypy --config-file ../pyproject.toml

bench: .venv/.bench $(LINKED) ## Compare speed with what one would otherwise use, as ratios
	@$(BIN)/python bench/run.py

docs: .venv/.docs $(LINKED) ## Make the reference of the library from its docstrings, in build/docs
	@$(BIN)/pdoc --docformat numpy -o build/docs plumbstone plumbstone.volumes plumbstone.meshes

clean: ## Remove the environment and everything that was made
	rm -rf .venv build dist demo-results *.egg-info .pytest_cache .mypy_cache .ruff_cache

.venv/.run: pyproject.toml
	@echo "Setting up .venv (once; a few minutes) ..."
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	  || { echo "plumbstone needs Python 3.11 or newer; name one: make PYTHON=python3.11 $(MAKECMDGOALS)"; exit 1; }
	@test -x $(BIN)/pip || $(PYTHON) -m venv .venv \
	  || { rm -rf .venv; echo "This Python cannot make environments; Debian's package python3-venv mends that."; exit 1; }
	@$(BIN)/python -m pip install -q --disable-pip-version-check -U pip 'setuptools>=77'
	@rm -f .venv/.linked-*
	@$(LINK)
	@touch $@ $(LINKED)

$(LINKED): .venv/.run
	@test -e $@ || { rm -f .venv/.linked-* && $(LINK) --no-deps && touch $@; }

.venv/.test .venv/.check .venv/.bench .venv/.docs: .venv/.%: .venv/.run
	@$(BIN)/python -m pip install -q --group $*
	@touch $@
