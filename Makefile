# Two commands do everything, each with its own set-up: make demo, make test.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check

.PHONY: demo test lint system

demo: $(VENV)/.for-use
	@$(BIN)/qualify demo

test: lint
	@$(BIN)/qualify lab fetch || echo "the tests of the virtual lab will say what is missing"
	@$(BIN)/coverage erase
	@$(BIN)/coverage run -m pytest
	@$(BIN)/coverage combine --quiet
	@$(BIN)/coverage report

lint: $(VENV)/.for-work
	@$(BIN)/ruff format --check --quiet .
	@$(BIN)/ruff check --quiet .
	@$(BIN)/mypy
	@$(BIN)/lint-imports --no-cache > .lint-imports.log || { cat .lint-imports.log; exit 1; }

$(VENV)/.for-use: pyproject.toml | system
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "installing into $(VENV) …"
	@$(PIP) install --editable .
	@touch $@

$(VENV)/.for-work: pyproject.toml | system
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "installing into $(VENV) …"
	@$(PIP) install --editable '.[dev]'
	@touch $@ $(VENV)/.for-use

# What a bare machine may lack for a virtual environment; the package brings no service.
system:
	@missing=""; \
	$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || missing="$$missing python3-venv"; \
	test -z "$$missing" && exit 0; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		echo "installing$$missing …"; \
		apt-get update -qq && DEBIAN_FRONTEND=noninteractive \
			apt-get install -qq -y --no-install-recommends $$missing >/dev/null; \
	else \
		echo "missing on this machine:$$missing (install with: apt-get install$$missing)"; \
		exit 1; \
	fi
