# endpin's two commands for a fresh machine, and a few for those who work on it.
# Each installs what is missing first (see .ci/install).

SCENARIO ?= breakwater-blues
DEMO     := target/demo/$(SCENARIO).mid
ENDPIN   := target/release/endpin
PYTEST   := ENDPIN=$(CURDIR)/target/debug/endpin ENDPIN_RELEASE=$(CURDIR)/$(ENDPIN) target/venv/bin/python -m pytest -q

.PHONY: help demo test test-ci ci

help: ## this list
	@sed -n 's/^\([a-z]*\):[^#]*## \(.*\)/make \1	\2/p' Makefile | expand -t 14

demo: ## build, write a MIDI file of one scenario, say what to do with it (SCENARIO=name for another)
	@.ci/install build
	cargo build --release --locked --package endpin
	@mkdir -p $(dir $(DEMO))
	$(ENDPIN) write scenarios/$(SCENARIO).toml -o $(DEMO)
	@echo
	@$(ENDPIN) explain scenarios/$(SCENARIO).toml --choruses 1
	@echo
	@echo "Written: $(DEMO)"
	@echo "  Drag it into a DAW: the tracks Bass, Comp and Time arrive named, with sections as markers and chords as text events."
	@echo "  Or hear it now, quietly at first:  fluidsynth -i $(DEMO)   (Debian: fluidsynth, timgm6mb-soundfont)"
	@echo "  Another line over the same chart:  $(ENDPIN) write scenarios/$(SCENARIO).toml --seed 2 -o $(DEMO)"
	@echo "  All it can do:                     $(ENDPIN) --help"

test: ## build and run every test, with those that read our files by other people's libraries
	@.ci/install tests
	cargo test --workspace --locked
	$(PYTEST) -n 2 --dist loadfile -m 'not alone and not ci' tests
	$(PYTEST) --reruns 1 -m 'alone and not ci' tests
	tests/reference/check

# What needs a second build or a sound server, and a quarter of an hour.
test-ci:
	cargo build --release --locked --package endpin
	$(PYTEST) --reruns 1 -m ci tests

ci: ## what must hold before a change lands
	@bash .ci/run
