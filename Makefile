# One place for every task; `.ci/run` calls the same targets.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
# In two processes, whole files at a time, so that what a file shares is made once.
IN_TWO := -n 2 --dist loadfile --no-loadscope-reorder

.PHONY: demo test check format docs reference bench attack attack-short screens axe lock floors clean

demo: $(READY)
	$(BIN)/conewright demo

test: $(READY)
	$(BIN)/python -m pytest $(IN_TWO)

check: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

format: $(READY)
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

# The pages of docs/ as a site in build/docs; a warning, such as of a link that leads nowhere, is an error.
docs: $(READY)
	$(BIN)/sphinx-build --quiet --fail-on-warning --keep-going --nitpicky docs build/docs

# The pages of the reference, which follow the code; a test holds that they do.
reference: $(READY)
	$(BIN)/python -m docs.generate

# Linear algebra in one thread: what several spin away would be counted too.
bench: $(READY)
	OPENBLAS_NUM_THREADS=1 PYTHONPATH=tests:tests/sound $(BIN)/python -m benchmarks

# Tries for ten minutes to break everything; what did is left in build/attack.
attack: $(READY)
	PYTHONPATH=tests:tests/store $(BIN)/python -m attack

# The same for some 45 seconds, as for every change.
attack-short: $(READY)
	PYTHONPATH=tests:tests/store $(BIN)/python -m attack --short

# Pictures of every page, to be looked at.
screens: $(READY)
	PYTHONPATH=tests $(BIN)/python -m browser.screens build/screens

# The checker of accessibility that the tests of the pages use where it is; never committed.
axe: build/axe/node_modules/axe-core/axe.min.js

build/axe/node_modules/axe-core/axe.min.js:
	npm install --prefix build/axe --no-save --no-audit --no-fund --ignore-scripts axe-core@^4

# The tasks run on exactly these versions, checked by hash; users get the floors of pyproject.toml.
$(READY): pyproject.toml requirements.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed: make PYTHON=python3.11 ...")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement requirements.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $(READY)

# Writes the newest versions that fit into requirements.txt, for every Python and machine we serve.
lock: $(BIN)/uv
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --upgrade \
		--extra dev --no-header --no-annotate --output-file requirements.txt pyproject.toml

# The tests but the slow ones on the oldest versions that pyproject.toml allows.
floors: $(BIN)/uv
	$(PYTHON) -m venv --clear build/floors
	$(BIN)/uv pip install --quiet --python build/floors --resolution lowest-direct --editable '.[dev]'
	build/floors/bin/python -m pytest $(IN_TWO) -m "not slow"

$(BIN)/uv: $(READY)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check uv

clean:
	rm -rf $(VENV) build .mypy_cache .ruff_cache .pytest_cache .hypothesis
