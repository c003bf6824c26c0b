# `make demo` and `make test` are the two commands of the README; the rest is for contributors.
PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
# Two more workers than cores: many tests wait for a process or a window.
WORKERS = $$($(BIN)/python -c "import os; print((os.cpu_count() or 1) + 2)")
STAMP  := $(VENV)/.installed

.PHONY: demo test check lint types bench clean system-packages

demo: $(STAMP)-run
	$(BIN)/meterlink --library $(VENV)/demo.sqlite demo

test: $(STAMP)-test system-packages
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder --rerun-show-tracebacks --max-suite-reruns 3

check: test lint types

lint: $(STAMP)-test
	$(BIN)/ruff check .

types: $(STAMP)-test
	$(BIN)/mypy

bench: $(STAMP)-test
	$(BIN)/python -m benchmarks

$(STAMP)-run: pyproject.toml
	$(PYTHON) -m venv $(VENV) || { echo "Python's venv module is missing: on Debian, apt-get install python3-venv"; exit 1; }
	$(BIN)/python -m pip install --quiet --no-cache-dir --editable .
	touch $@

$(STAMP)-test: $(STAMP)-run
	$(BIN)/python -m pip install --quiet --no-cache-dir --editable '.[test,lint,app,sync]'
	touch $@

# Compilers, chip simulator, D-Bus and browser for the tests that use them; without them those tests say so and are skipped.
system-packages:
	@sh .ci/system-packages

clean:
	rm -rf $(VENV) build dist *.egg-info
