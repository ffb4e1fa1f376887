# demo, test, check, bench: each does all of its set-up in .venv. PYTHON chooses the interpreter.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test check oracle bench emulate pictures hardware clean

demo: $(READY)
	$(BIN)/underdash demo --out build/demo

test: $(READY) check
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder

check: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python tests/check_device.py

# Optional: an independent battery model, which some tests compare with. They skip without it, but fail under CI.
oracle: $(READY)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[dev,oracle]"

# Ratios and figures of docs/performance.md, all measured in one run. About an hour, most of it the soak.
bench: $(READY)
	$(BIN)/python tests/bench/flash.py
	$(BIN)/python tests/bench/pull.py
	$(BIN)/python tests/bench/tick.py
	$(BIN)/python tests/bench/plan.py
	$(BIN)/python tests/bench/stride.py
	$(BIN)/python tests/bench/review.py
	$(BIN)/python tests/bench/drive_report.py
	$(BIN)/python tests/bench/faults.py
	$(BIN)/python tests/bench/flash_cuts.py
	$(BIN)/python tests/bench/soak.py

# Optional, an hour or two: the whole chip in software. IMAGE is a MicroPython build for the RPI_PICO board, 1.21 or newer, which you bring.
emulate: $(READY)
	@test -n "$(IMAGE)" || { echo "make emulate IMAGE=path.uf2: name a MicroPython image for the RPI_PICO board"; exit 2; }
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[dev,emulate]"
	PYTHONPATH=tests $(BIN)/python -m emulate $(IMAGE) --out build/emulate $(ARGS)

# Everything that follows from hardware/values.toml: drawings, parts list, netlists, tables, the firmware's constants.
hardware: $(READY)
	$(BIN)/python hardware/make.py

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
