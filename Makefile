# make demo   sets everything up and does the whole job on the virtual rig
# make test   sets everything up (system packages too, when root) and passes all tests
# make lint   format and types        make bench  speed, as ratios     make docs  the documentation
# make release-check PYTHONS="python3.11 python3.13"   wheel and sdist, tried where no source tree is
# make validate   are estimates honest? 200 simulated campaigns, half an hour on two cores; writes docs/validation.md
.POSIX:
PYTHON ?= python3
VENV ?= .venv
BIN = $(VENV)/bin
DEMO ?= frusta-demo
PYTHONS ?= $(PYTHON)

.PHONY: setup setup-dev system demo test lint format bench docs validate messages release release-check clean

setup: $(VENV)/.installed
setup-dev: $(VENV)/.installed-dev

$(VENV)/bin/python:
	$(PYTHON) tools/check_python.py
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	touch $@

$(VENV)/.installed-dev: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[dev,docs]"
	touch $@ $(VENV)/.installed

system:
	sh tools/system_packages.sh

demo: setup
	$(BIN)/frusta demo $(DEMO)

test: system setup-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist loadgroup -q

lint: setup-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: setup-dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: setup-dev
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest benchmarks -q --benchmark-columns=min,median

docs: setup-dev
	$(BIN)/python -m sphinx -W --keep-going -b html docs docs/_build/html
	$(BIN)/python tools/check_links.py docs/_build/html README.md CONTRIBUTING.md

validate: setup-dev
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python tools/validate_estimates.py --campaigns 200 --write docs/validation.md

messages: setup-dev
	$(BIN)/python tools/messages.py frusta.pot

release:
	$(BIN)/python -m build

release-check:
	sh tools/try_release.sh --tests $(PYTHONS)

clean:
	rm -rf $(VENV) docs/_build .pytest_cache .mypy_cache .ruff_cache .hypothesis
