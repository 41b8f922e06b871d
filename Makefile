# Both targets are enough on a fresh machine with Python 3.11+ and git: they make .venv first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test lint types contract clean

$(VENV)/ready: requirements.txt requirements-dev.txt pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "twinangle needs Python 3.11 or newer; run make PYTHON=/path/to/python3.11")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet -r requirements-dev.txt
	$(BIN)/python -m pip install --quiet --no-deps -e .
	touch $@

demo: $(VENV)/ready
	$(BIN)/twinangle demo reports/demo

test: $(VENV)/ready
	$(BIN)/python -m pytest -n 2

lint: $(VENV)/ready
	$(BIN)/ruff check src tests benchmarks
	$(BIN)/ruff format --check src tests benchmarks

types: $(VENV)/ready
	$(BIN)/mypy

contract: $(VENV)/ready
	$(BIN)/lint-imports

clean:
	rm -rf $(VENV)
