PYTHON ?= python3
BIN := .venv/bin

.PHONY: run test bench coverage examined planning verdicts gallery kill-trial host-trial fault-matrix starvation rivals damaged-logbooks fuzz plate lying-sources mutants clean

run: .venv/.run-ready
	-@.ci/qt-libraries
	@$(BIN)/benchapp

test: .venv/.test-ready
	@.ci/qt-libraries
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/lint-imports --no-logo
	@$(BIN)/mypy
	@OPENBLAS_NUM_THREADS=1 QT_QPA_PLATFORM=offscreen $(BIN)/pytest -n 2

STATISTICS := coverage estimators traps levels risk comparisons measured_current temperature parts

coverage: .venv/.test-ready
	@$(BIN)/python -m tests.resumed coverage "$(N)" $(addprefix tests.statistics.,$(STATISTICS))

examined: .venv/.test-ready
	@$(BIN)/python -m tests.resumed examined "$(N)" tests.statistics.examined

planning: .venv/.test-ready
	@$(BIN)/python -m tests.resumed planning "$(N)" $(addprefix tests.statistics.,plans rehearsals checks studies)

verdicts: .venv/.test-ready
	@$(BIN)/python -m tests.resumed verdicts "$(N)" tests.statistics.verdicts

bench: .venv/.test-ready
	@$(BIN)/python -m tests.resumed bench "$(N)" $(addprefix tests.benchmarks.,step_rate linked live_update examined_live)
	@if [ -n "$$DISPLAY" ]; then $(BIN)/python -m tests.benchmarks.window; \
	elif command -v xvfb-run >/dev/null; then \
		xvfb-run -a -s "-screen 0 3840x2400x24" $(BIN)/python -m tests.benchmarks.window; \
	else echo "no display and no xvfb-run: the window is not measured"; fi

gallery: .venv/.test-ready
	@.ci/qt-libraries
	@QT_QPA_PLATFORM=offscreen $(BIN)/python -m tests.benchapp.ui.gallery

fault-matrix: .venv/.test-ready
	@$(BIN)/python -m tests.faults.matrix $(N)

starvation: .venv/.test-ready
	@$(BIN)/python -m tests.faults.starvation $(N)

rivals: .venv/.test-ready
	@.ci/qt-libraries
	@QT_QPA_PLATFORM=offscreen $(BIN)/python -m tests.faults.rivals $(N)

fuzz: .venv/.test-ready
	@$(BIN)/python -m tests.faults.fuzz $(N)

plate: .venv/.test-ready
	@.ci/qt-libraries
	@QT_QPA_PLATFORM=offscreen $(BIN)/python -m tests.faults.plate $(N)

mutants: .venv/.test-ready
	@$(BIN)/pip install --quiet -e '.[dev,mutation]'
	@$(BIN)/python -m tests.mutants $(N)

lying-sources: .venv/.test-ready
	@$(BIN)/python -m tests.faults.lying_sources $(N)

damaged-logbooks: .venv/.test-ready
	@$(BIN)/python -m tests.faults.logbooks $(N)

kill-trial: .venv/.test-ready
	@$(BIN)/python -m tests.faults.kill_trial $(N)

host-trial: .venv/.test-ready
	@$(BIN)/python -m tests.faults.host_trial $(N)

.venv/.run-ready: pyproject.toml
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@$(BIN)/pip install --quiet -e .
	@touch $@

.venv/.test-ready: pyproject.toml
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@$(BIN)/pip install --quiet -e '.[dev]'
	@touch .venv/.run-ready $@

clean:
	rm -rf .venv .trials build dist *.egg-info .mypy_cache .pytest_cache .ruff_cache
