# Three commands do all their own set-up: `make demo`, `make serve` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
LOCKED := $(VENV)/locked
READY := $(VENV)/ready
GL := libgl1 libglib2.0-0
TOOLS := $(VENV)-tools
SUPPLY := pip-audit==2.10.1 cyclonedx-bom==7.5.0 pip-licenses==5.5.5

.PHONY: help setup demo serve test lock audit sbom wheel-check clean

help:
	@echo "make demo   do the whole job on the practice photos; leaves demo-out/"
	@echo "make serve  serve the desk, opening on an invented game"
	@echo "make test   check style and types, run the tests"
	@echo "make setup  only make .venv with the program in it ($(BIN)/tallyglass)"
	@echo "make lock   resolve requirements.txt anew from pyproject.toml"
	@echo "make audit  ask whether a locked version is known to be vulnerable"
	@echo "make sbom   list every package, its version and its licence in build/"
	@echo "make wheel-check  build the wheel, install it into an empty environment, run it there"
	@echo "make clean  remove .venv and demo-out"

setup: $(READY)

demo: $(READY)
	$(BIN)/tallyglass demo --out demo-out

serve: $(READY)
	$(BIN)/tallyglass serve --demo

test: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -n auto --maxprocesses 4 --dist loadfile

# A system without ensurepip (Debian's plain python3) still has pip to fill the new environment.
$(LOCKED): requirements.txt
	@$(PYTHON) -c "import sys; sys.exit(sys.version_info < (3, 11) and \
	    'Tallyglass needs Python 3.11 or newer. Name one: make $(MAKECMDGOALS) PYTHON=python3.12')"
	$(PYTHON) -m venv $(VENV) || { $(PYTHON) -m venv --clear --without-pip $(VENV) && \
	    $(PYTHON) -m pip --python $(BIN)/python install --quiet pip; }
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	@touch $@

$(READY): $(LOCKED) pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps -e .
	@$(BIN)/python -c "import cv2" || { apt-get update -qq && apt-get install -y -qq $(GL); } || { \
	    echo "OpenCV needs the system's OpenGL library: apt-get install $(GL)"; exit 1; }
	@touch $@

# setuptools is locked too: it builds the editable install without another visit to the network.
lock:
	$(PYTHON) -m venv $(VENV)-lock
	$(VENV)-lock/bin/python -m pip install --quiet "uv>=0.9,<1"
	echo "setuptools>=77,<83" | $(VENV)-lock/bin/uv pip compile pyproject.toml - --group test --universal \
	    --generate-hashes --python-version 3.11 --no-header --upgrade --quiet -o requirements.txt
	rm -r $(VENV)-lock

# Tools that look at the environment stand in one of their own, so that none is part of it.
$(TOOLS)/ready:
	$(PYTHON) -m venv $(TOOLS)
	$(TOOLS)/bin/python -m pip install --quiet --disable-pip-version-check $(SUPPLY)
	@touch $@

audit: $(TOOLS)/ready
	$(TOOLS)/bin/python .ci/audit.py $(TOOLS)/bin/pip-audit requirements.txt

sbom: $(READY) $(TOOLS)/ready
	mkdir -p build
	$(TOOLS)/bin/cyclonedx-py environment $(BIN)/python --pyproject pyproject.toml \
	    --output-reproducible --output-file build/sbom.json
	$(TOOLS)/bin/pip-licenses --python $(BIN)/python --format csv --output-file build/licences.csv
	$(TOOLS)/bin/pip-licenses --python $(BIN)/python --summary

wheel-check: $(READY)
	$(BIN)/python .ci/wheel_check.py build/wheel

clean:
	rm -rf $(VENV) $(TOOLS) build demo-out
