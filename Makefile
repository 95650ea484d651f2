# Set-up happens once, inside .venv; nothing outside this folder is touched. Another Python gets an
# environment of its own: make test PYTHON=python3.12 works in .venv-python3.12.
PYTHON ?= python3
VENV := .venv$(if $(filter command,$(origin PYTHON)),-$(notdir $(PYTHON)))
BIN := $(VENV)/bin
# An editable install links files one by one and compiles the loops, so it is renewed when a file
# comes or goes and when a loop changes.
LINKED := $(VENV)/.linked-$(shell { find plumbstone volumes meshes cli -type f ! -name '*.pyc' ! -name '*.so' | sort; \
  cat setup.py $$(find volumes meshes -name '*.pyx'); } | cksum | cut -d' ' -f1)
# A wheel with a C compiler in it, where there is no other.
ZIG = $(shell command -v cc >/dev/null || echo ziglang)

LINK = PYTHONWARNINGS=ignore $(BIN)/python -m pip install -q -e '.[formats,mat]' $(1) --no-build-isolation --config-settings editable_mode=strict \
  && $(BIN)/python -Pc 'import compileall, plumbstone; compileall.compile_dir(plumbstone.__path__[0], quiet=1)'

.PHONY: help demo test slow check bench docs clean
.DEFAULT_GOAL := help

help: ## Show these lines
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 10

demo: $(LINKED) ## Set up, lay out the reading-room tank and say where the results are
	@$(BIN)/plumbstone demo demo-results
	@echo "To move its stones in a browser:  $(BIN)/plumbstone serve demo-results"

test: $(VENV)/.test $(LINKED) ## Set up and run the tests
	@PYTHONDONTWRITEBYTECODE= $(BIN)/python -m pytest -n auto --dist loadfile --no-loadscope-reorder $(TESTS)

slow: $(VENV)/.test $(LINKED) ## Run the long trials too (scans by the hundred, fuzzing in full)
	@$(BIN)/python -m pytest -n auto --dist worksteal -m "slow or not slow" $(TESTS)

check: $(VENV)/.check $(LINKED) ## Lint, format and type checks
	@$(BIN)/ruff check . && $(BIN)/ruff format --check . && cd tests && ../$(BIN)/mypy --config-file ../pyproject.toml

bench: $(VENV)/.bench $(LINKED) ## Compare speed with what one would otherwise use, as ratios
	@$(BIN)/python bench/run.py

docs: $(VENV)/.docs $(LINKED) ## Make the reference of the library from its docstrings, in build/docs
	@$(BIN)/pdoc --docformat numpy -o build/docs plumbstone plumbstone.volumes plumbstone.meshes

clean: ## Remove the environment and everything that was made
	rm -rf .venv .venv-* build dist demo-results *.egg-info .pytest_cache .mypy_cache .ruff_cache tests/__pycache__

$(VENV)/.run: pyproject.toml
	@echo "Setting up $(VENV) (once; a few minutes) ..."
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	  || { echo "plumbstone needs Python 3.11 or newer; name one: make PYTHON=python3.11 $(MAKECMDGOALS)"; exit 1; }
	@test -x $(BIN)/pip || $(PYTHON) -m venv $(VENV) \
	  || { rm -rf $(VENV); echo "This Python cannot make environments; Debian's package python3-venv mends that."; exit 1; }
	@$(BIN)/python -m pip install -q --disable-pip-version-check 'pip>=25.1' 'setuptools>=77' 'cython>=3.1' $(ZIG)
	@rm -f $(VENV)/.linked-*
	@$(call LINK)
	@touch $@ $(LINKED)

$(LINKED): $(VENV)/.run
	@test -e $@ || { rm -f $(VENV)/.linked-* && $(call LINK,--no-deps) && touch $@; }

$(VENV)/.test $(VENV)/.check $(VENV)/.bench $(VENV)/.docs: $(VENV)/.%: $(VENV)/.run
	@$(BIN)/python -m pip install -q --group $*
	@touch $@
