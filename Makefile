# Both targets are enough on a fresh machine with Python 3.11+ and git: they make .venv first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: help demo test lint types contract package reference docs pages notebooks nightly clean

help:  ## Say what each target does
	@grep -hE '^[a-z]+:.*## ' Makefile | sed -E 's/:.*## /\t/' | expand -t 12

# Modules are compiled when they are first imported: most never are.
$(VENV)/ready: requirements.txt requirements-dev.txt pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "twinangle needs Python 3.11 or newer; run make PYTHON=/path/to/python3.11")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --no-compile -r requirements-dev.txt
	$(BIN)/python -m pip install --quiet --no-deps -e .
	touch $@

demo: $(VENV)/ready  ## Write the invented study and analyse it, in reports/demo
	$(BIN)/twinangle demo reports/demo

test: $(VENV)/ready  ## Run every test but those marked nightly
	$(BIN)/python -m pytest -n 2 --dist loadfile

lint: $(VENV)/ready  ## Check style, format and British spelling
	$(BIN)/ruff check src tests benchmarks docs/examples docs/extensions docs/conf.py
	$(BIN)/ruff format --check src tests benchmarks docs/examples docs/extensions docs/conf.py
	$(BIN)/python docs/extensions/spelling.py *.md docs src benchmarks reference_data/README.md

types: $(VENV)/ready  ## Check types, of a user's typed script as well
	$(BIN)/mypy

contract: $(VENV)/ready  ## Check which package may import which
	$(BIN)/lint-imports

reference: $(VENV)/ready  ## Write the reference of commands and study file from the code, and the JSON schema
	$(BIN)/python docs/extensions/reference_blocks.py

$(VENV)/docs-ready: $(VENV)/ready requirements-docs.txt
	$(BIN)/python -m pip install --quiet -r requirements-docs.txt
	touch $@

SITE := $(BIN)/python -m sphinx -W --keep-going -q -b html

docs: $(VENV)/docs-ready  ## Build the site with what the tutorials print and draw (kept while the code is the same)
	$(SITE) docs docs/_build/html

pages: $(VENV)/docs-ready  ## The same without running the tutorials, in a minute; their pages say so
	$(SITE) -D nb_execution_mode=off docs docs/_build/html

notebooks: $(VENV)/docs-ready  ## The same with every tutorial executed anew
	$(SITE) -D nb_execution_mode=force docs docs/_build/html

package: $(VENV)/ready  ## Build wheel and sdist, and try them (nightly in an empty environment)
	$(PYTHON) .ci/package

nightly: $(VENV)/ready  ## Run what is too long for every change: hours
	.ci/nightly

clean:  ## Remove the environment
	rm -rf $(VENV)
