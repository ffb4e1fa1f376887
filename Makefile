# demo, test, check, bench: each does all of its set-up in .venv. PYTHON chooses the interpreter.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test check pictures clean

demo: $(READY)
	$(BIN)/underdash demo --out build/demo

test: $(READY) check
	$(BIN)/python -m pytest

check: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python tests/check_device.py

# The pictures that the README shows, from the demo's results.
pictures: demo
	$(BIN)/python docs/pictures/make.py build/demo docs/pictures

$(READY): pyproject.toml
	@echo "Setting up $(VENV)"
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[dev]"
	@touch $@

clean:
	rm -rf build $(VENV)
