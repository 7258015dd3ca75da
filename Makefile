# Every target first makes the virtual environment .venv and installs firedeck into it, once;
# a changed pyproject.toml installs again.

# Modules stay compiled from one process to the next, whatever the surroundings ask for: it is a second each.
export PYTHONDONTWRITEBYTECODE :=

VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
# Both processors of a small machine, no more than eight of a large one; a file's tests stay together
# so that what they share is made once.
PYTEST := $(BIN)/python -m pytest -n logical --maxprocesses 8 --dist loadfile --no-loadscope-reorder
# Compiled kernels lie beside their sources. The compiler does not notice that a kernel called from
# another file has changed, so all are cleared away when any of them does.
KERNELS := build/kernels-$(shell cat src/firedeck/kernel/*.py src/firedeck/scenario/*.py | cksum | tr ' ' '-')

.DEFAULT_GOAL := help
.PHONY: help demo test check docs pages shots bench truth hooks clean

help:  ## List the targets
	@sed -n 's/^\([a-z]*\):.*## \(.*\)/  make \1\t\2/p' Makefile | expand -t 16

$(STAMP): pyproject.toml tools/make_venv.sh
	@tools/make_venv.sh $(VENV)
	@touch $@

$(KERNELS): | $(STAMP)
	@echo "Compiling the inner loops for this machine; this is done once and takes a minute or two"
	@find src/firedeck -name '*.nb[ci]' -delete
	@$(BIN)/firedeck prepare
	@mkdir -p build && rm -f build/kernels-* && touch $@

demo: $(STAMP) $(KERNELS)  ## Read the prints of the invented engine and write their report to build/demo
	$(BIN)/firedeck demo build/demo

.PHONY: browser
browser:
	@tools/need.sh Chromium "to drive the local pages" "chromium chromium-browser" chromium fonts-dejavu-core

.PHONY: calculix
calculix:
	@tools/need.sh CalculiX "to solve the predicted joints a second way" ccx calculix-ccx

test: $(STAMP) $(KERNELS) browser calculix  ## Everything: format, lint, types, import contracts, docs, then the whole test suite
	@static=0; $(MAKE) --no-print-directory --keep-going check docs || static=$$?; \
	if [ $$static -ne 0 ]; then echo "make check or make docs failed, see above; the tests still run"; fi; \
	suite=0; $(PYTEST) || suite=$$?; \
	if [ $$suite -ne 0 ]; then exit $$suite; fi; exit $$static

check: check-format check-lint check-types check-imports check-scripts  ## The fast static part of make test

.PHONY: check-format check-lint check-types check-imports check-scripts
check-format: $(STAMP)
	$(BIN)/ruff format --check
check-lint: $(STAMP)
	$(BIN)/ruff check
check-types: $(STAMP)
	$(BIN)/mypy
check-imports: $(STAMP)
	$(BIN)/lint-imports
check-scripts:
	@tools/need.sh "The TypeScript compiler" "to check the types of the pages' scripts" tsc node-typescript
	tsc --project tools/scripts/tsconfig.json

docs: $(STAMP)  ## Build the documentation into build/docs, warnings are errors
	$(BIN)/python -m sphinx -W --keep-going -q -b html -d build/doctrees docs build/docs

pages: $(STAMP)  ## Write the generated pages again: nomenclature, commands, schemas
	$(BIN)/python -m docs.make_pages
	$(BIN)/python docs/write_schemas.py

shots: $(STAMP) browser demo  ## Write pictures of every local page to build/pages, those of the guide into docs
	$(BIN)/python -m docs.shoot_pages build/demo build/pages

bench: $(STAMP)  ## Time the work against its goals and the alternatives; writes build/bench.json
	$(BIN)/python -m benchmarks

truth: $(STAMP)  ## Read prints whose truth is known and show the errors; writes build/truth.json
	$(BIN)/python -m tests.truth

hooks: $(STAMP)  ## Run make check's tools before every commit
	$(BIN)/pre-commit install

clean:  ## Remove everything that was made, the virtual environment included
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find src tests docs benchmarks -name __pycache__ -type d -exec rm -rf {} +
	rm -rf src/*.egg-info
