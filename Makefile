# SPDX-License-Identifier: GPL-3.0-or-later
#
# make run      install what is missing, build, open the prompt
# make check    install what the tests need, build, run every test
# make help     all targets
#
# CC, CFLAGS, CPPFLAGS, LDFLAGS, PREFIX and DESTDIR are yours; what the project itself needs stands
# in variables of its own, so overriding them never breaks the build.

PREFIX   ?= /usr/local
BINDIR   ?= $(PREFIX)/bin
DATADIR  ?= $(PREFIX)/share/jarside
CC       := $(if $(filter default,$(origin CC)),gcc,$(CC))
CFLAGS   ?= -O2 -g
MODE     ?= release
WERROR   ?= $(if $(CI),-Werror)

B        := .build/$(MODE)
PACKAGES := yaml-0.1 libpcre2-8 readline gsl jansson libutf8proc libqrencode sqlite3
NEEDED   := gcc make pkg-config libyaml-dev libpcre2-dev libreadline-dev libgsl-dev libjansson-dev libutf8proc-dev libqrencode-dev libcsv-dev libsqlite3-dev libstemmer-dev
NEEDED_TESTS := $(NEEDED) perl libcmocka-dev libio-pty-perl libcpanel-json-xs-perl libunwind-dev r-base-core r-cran-e1071 r-cran-mlbench r-cran-survival libxml2-utils zsh fish groff-base

# The calendar is read back by a library of other people.
NEEDED_TESTS += python3-icalendar

WARN     := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes \
            -Wwrite-strings -Wvla -Wformat=2 -Wundef $(WERROR)
HARDEN_release := -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fstack-clash-protection -fPIE
HARDLINK_release := -pie -Wl,-z,relro,-z,now
HARDEN_asan := -fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer
HARDLINK_asan := -fsanitize=address,undefined
HARDEN_tsan := -fsanitize=thread -fno-omit-frame-pointer
HARDLINK_tsan := -fsanitize=thread
HARDEN_coverage := --coverage -fprofile-update=atomic
# The runtime of gcov, linked last, asks for what the program wraps even where no test does.
HARDLINK_coverage := --coverage -Wl,-u,__wrap_malloc
HARDEN_fuzz := -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer
HARDLINK_fuzz := -fsanitize=fuzzer,address,undefined
# Arithmetic that no stranger's bytes steer: watched for its faults, but not a place to look for new paths.
.build/fuzz/reason/%.o: HARDEN_fuzz := $(HARDEN_asan)

# A line a file says enough; `make V=1` shows the whole commands.
Q        := $(if $(V),,@)
say       = $(if $(V),,@printf '  %-5s %s\n' $(1) $(2))
# A word for the shell, whatever stands in it: a PREFIX may hold spaces.
sh        = '$(subst ','\'',$(1))'

PKG_CFLAGS := $(shell pkg-config --cflags $(PACKAGES) 2>/dev/null)
PKG_LIBS := $(shell pkg-config --libs $(PACKAGES) 2>/dev/null)
OUR_CFLAGS   = -std=c11 -D_POSIX_C_SOURCE=200809L -D_DEFAULT_SOURCE -Iengine $(WARN) $(HARDEN_$(MODE)) $(PKG_CFLAGS)
# The program's own requests for memory pass engine/base/memory.c.
WRAPPED  := malloc calloc realloc strdup strndup
OUR_LDFLAGS  = $(HARDLINK_$(MODE)) $(WRAPPED:%=-Wl,--wrap=%)
# libcsv and libstemmer have no pkg-config file.
OUR_LIBS     = $(PKG_LIBS) -lcsv -lstemmer -lm

# Lowest layer first. A folder may include from itself and from folders to its left
# (reason and process may not see each other); tests/house checks it.
LAYERS   := base rules language process reason triage journal review view prompt cli
SOURCES  := $(foreach l,$(LAYERS),$(sort $(wildcard engine/$(l)/*.c)))
OBJECTS  := $(SOURCES:engine/%.c=$(B)/%.o) $(B)/view/words.o $(B)/cli/help.o $(B)/journal/queries.o
MAIN     := $(B)/main.o
UNIT     := $(sort $(wildcard tests/unit/*.c) $(wildcard tests/outside/*.c))
UNITS    := $(UNIT:tests/%.c=$(B)/tests/%.t)
SCRIPTS  := $(sort $(wildcard tests/*/*.t))
# Test programs that `make valgrind` looks at: a part of each folder, for it is some forty times slower.
VALGRIND := base_arena base_text csv reader_read rules_overlay triage_facts process_cook journal
FUZZ     := $(patsubst tests/fuzz/%_fuzz.c,%,$(sort $(wildcard tests/fuzz/*_fuzz.c)))

.PHONY: FORCE all run check install uninstall deb clean asan tsan fuzz replays valgrind coverage lint bench converse help deps deps-check format
.DELETE_ON_ERROR:

all: $(B)/jarside  ## build the program

help:  ## this list
	@sed -n 's/^\([a-z-]*\):.*##  *\(.*\)/\1\t\2/p' Makefile | expand -t 14

# What was given is written down, so that what was built with something else is built again.
COMPILED := $(CC) $(CPPFLAGS) $(CFLAGS)
LINKED   := $(COMPILED) $(LDFLAGS)
$(B)/%.given: FORCE
	@mkdir -p $(@D)
	@printf '%s\n' $(call sh,$($*)) | cmp -s - $@ || printf '%s\n' $(call sh,$($*)) > $@

$(OBJECTS) $(MAIN): $(B)/COMPILED.given
$(B)/rules/rules.o: $(B)/DATADIR.given
$(B)/jarside $(UNITS): $(B)/LINKED.given

$(B)/jarside: $(MAIN) $(B)/libjarside.a
	$(call say,link,$@)
	$(Q)$(CC) $(OUR_CFLAGS) $(CFLAGS) $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $(filter %.o %.a,$^) $(OUR_LIBS)

$(B)/libjarside.a: $(OBJECTS)
	$(call say,pack,$@)
	@rm -f $@
	$(Q)$(AR) rcs $@ $^

$(B)/%.o: engine/%.c
	@mkdir -p $(@D)
	$(call say,cc,$<)
	$(Q)$(CC) $(OUR_CFLAGS) $(call sh,-DJARSIDE_DATADIR="$(DATADIR)") $(CPPFLAGS) $(CFLAGS) -MMD -MP -c -o $@ $<

# What is said stands in files: templates, style sheets, the help. Each is a table of lines in the program.
$(B)/view/words.c: engine/view/words.txt engine/view/styles.txt
$(B)/cli/help.c: engine/cli/help.txt
$(B)/view/words.c: LINES_OF := view_lines
$(B)/cli/help.c: LINES_OF := help_lines
$(B)/view/words.c $(B)/cli/help.c:
	@mkdir -p $(@D)
	$(Q){ echo 'const char *const $(LINES_OF)[] = {'; sed 's/[\\"]/\\&/g; s/.*/    "&",/' $^; echo '    0};'; } > $@
$(B)/view/words.o $(B)/cli/help.o $(B)/journal/queries.o: %.o: %.c
	$(call say,cc,$<)
	$(Q)$(CC) $(OUR_CFLAGS) $(CPPFLAGS) $(CFLAGS) -c -o $@ $<

# Queries: "== NAME" begins one; C knows it as sql_NAME.
$(B)/journal/queries.c: engine/journal/queries.sql
	@mkdir -p $(@D)
	$(Q)awk '/^--/ || /^$$/ { next } \
	    /^== / { if (name) print ";"; name = $$2; print "extern const char sql_" name "[];\nconst char sql_" name "[] ="; next } \
	    { gsub(/[\\"]/, "\\\\&"); line = $$1 == "use" ? text[$$2] : "    \"" $$0 "\\n\"\n"; if (NF == 3 && $$1 == "use") gsub(/[?]1/, $$3, line); text[name] = text[name] line; printf "%s", line } \
	    END { print ";" }' $< > $@

# Unit tests and outside checks: cmocka programs that speak TAP.
$(B)/tests/%.t: tests/%.c $(B)/libjarside.a
	@mkdir -p $(@D)
	$(call say,cc,$<)
	$(Q)$(CC) $(OUR_CFLAGS) -Itests $(CPPFLAGS) $(CFLAGS) -MMD -MP $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $< $(B)/libjarside.a $(OUR_LIBS) -lcmocka

# Fuzz targets: with libFuzzer in MODE=fuzz, elsewhere with a main that replays what was kept.
$(B)/fuzz/%: tests/fuzz/%_fuzz.c tests/fuzz/replay.c $(B)/libjarside.a
	@mkdir -p $(@D)
	$(call say,cc,$<)
	$(Q)$(CC) $(OUR_CFLAGS) -D_GNU_SOURCE -Itests $(CPPFLAGS) $(CFLAGS) -MMD -MP -MF $@.d $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $< \
	    $(if $(filter fuzz,$(MODE)),,tests/fuzz/replay.c) $(B)/libjarside.a $(OUR_LIBS)

replays: $(FUZZ:%=$(B)/fuzz/%)

deps:
	@tests/house/install-missing $(NEEDED)
deps-check:
	@tests/house/install-missing $(NEEDED_TESTS)

# A second make, so that pkg-config is asked after the packages are there.
run: deps  ## install what is missing, build, open the prompt (without a terminal: judge the demo case)
	@$(MAKE) --no-print-directory -j"$$(nproc)" all
	@tests/house/run-or-demo $(B)/jarside

check: deps-check  ## install what the tests need, build, run every test
	@$(MAKE) --no-print-directory -j"$$(nproc)" tests

# What takes longest begins first, so that nobody waits for it at the end; and no act waits for a disk.
LONGEST  := $(wildcard tests/cli/starved.t tests/fuzz/replay.t) $(B)/tests/unit/journal_survival_test.t \
            $(wildcard $(patsubst %,tests/cli/%.t,faults nothing-out rules remarks failing-disk signals complete learn due) tests/house/install.t)
IN_MEMORY := $(shell [ -w /dev/shm ] && echo TMPDIR=/dev/shm)

.PHONY: tests units
BENCHES := $(B)/tests/bench/bench.t $(B)/tests/bench/growth.t
units: $(UNITS) $(BENCHES) # the benches are built, so that they stay fit to run
tests: $(B)/jarside $(B)/season.db units
	@$(MAKE) --no-print-directory MODE=asan CC="$(if $(findstring gcc,$(CC)),$(CC),gcc)" CFLAGS="-O1 -g" replays
	JARSIDE=$(CURDIR)/$(B)/jarside CMOCKA_MESSAGE_OUTPUT=TAP $(IN_MEMORY) prove -j3 --state=save \
	    --statefile=$(B)/prove.state $(PROVEFLAGS) $(LONGEST) $(filter-out $(LONGEST),$(UNITS) $(SCRIPTS)); \
	    status=$$?; tests/house/slowest $(B)/prove.state; exit $$status

# The invented season, for tests that begin with it.
$(B)/season.db: $(B)/jarside $(shell find rules corpus/demo -type f)
	@rm -f $@*
	$(Q)XDG_CONFIG_HOME=/nonexistent JARSIDE_RULES=$(CURDIR)/rules JARSIDE_NOW=2026-04-22T18:00:00Z $< journal demo $@ > /dev/null

asan:  ## the whole suite under AddressSanitizer and UndefinedBehaviorSanitizer
	@$(MAKE) --no-print-directory MODE=asan CFLAGS="-O1 -g" tests

tsan:  ## what runs on several threads, under ThreadSanitizer
	@$(MAKE) --no-print-directory -j"$$(nproc)" MODE=tsan CC=gcc CFLAGS="-O1 -g" all
	JARSIDE=$(CURDIR)/.build/tsan/jarside TSAN_OPTIONS=halt_on_error=1 prove tests/cli/judge.t

fuzz: deps  ## look for inputs that break something, FUZZ_SECONDS for each target (FUZZ="words csv": only these)
	@tests/house/install-missing clang libclang-rt-14-dev
	@$(MAKE) --no-print-directory -j"$$(nproc)" MODE=fuzz CC=clang CFLAGS="-O2 -g" replays
	@tests/house/fuzz .build/fuzz/fuzz $(FUZZ)

# A stamp a source, so that only what has changed, itself or in a header, is looked at again.
LINTED   := $(patsubst %.c,.build/lint$(if $(ANALYZER),-analyzer)/%.ok,engine/main.c $(SOURCES))

lint: deps  ## clang-format, clang-tidy, cppcheck on what has changed; with ANALYZER=1 also gcc -fanalyzer
	@tests/house/lint --format
	@$(MAKE) --no-print-directory -j"$$(nproc)" -k linted
	@echo "nothing found in $(words $(LINTED)) sources"

.PHONY: linted
linted: $(LINTED)

.build/lint/%.ok .build/lint-analyzer/%.ok: %.c .clang-tidy tests/house/lint
	@mkdir -p $(@D)
	$(call say,lint,$<)
	@LINT_FLAGS="$(filter-out -f% -D_FORTIFY_SOURCE%,$(OUR_CFLAGS))" tests/house/lint $<
	@$(CC) $(OUR_CFLAGS) -MM -MP -MT $@ -MF $(@:.ok=.d) $<
	@touch $@

valgrind: deps $(B)/jarside $(VALGRIND:%=$(B)/tests/unit/%_test.t)  ## main tasks and part of the tests under valgrind
	@tests/house/valgrind $(B)/jarside $(VALGRIND:%=$(B)/tests/unit/%_test.t)

coverage: deps-check  ## lines the tests run, folder by folder (FILES=1: file by file)
	@find .build/coverage -name '*.gcda' -delete 2>/dev/null || true
	@$(MAKE) --no-print-directory -j"$$(nproc)" MODE=coverage CFLAGS="-O0 -g" tests
	@tests/house/coverage .build/coverage

format:  ## let clang-format rewrite the sources
	clang-format -i $$(git ls-files 'engine/*.[ch]' 'tests/*.[ch]')

seasons: $(B)/tests/outside/review_seasons_test.t  ## false alarms and power of the review on 500 simulated seasons of each design
	@SEASONS=500 CMOCKA_MESSAGE_OUTPUT=TAP $<

bench: $(B)/jarside $(BENCHES)  ## print figures beside those kept last and beside R and scikit-learn (KEEP=1: keep them)
	@$(B)/tests/bench/bench.t $(CURDIR)/$(B)/jarside $(if $(KEEP),keep)
	@$(B)/tests/bench/growth.t

converse: $(B)/jarside  ## play the conversations of corpus/conversations and print what came of them
	@JARSIDE=$(CURDIR)/$(B)/jarside tests/bench/converse

TO_BIN   := $(call sh,$(DESTDIR)$(BINDIR))
TO_DATA  := $(call sh,$(DESTDIR)$(DATADIR))
TO_SHARE := $(call sh,$(DESTDIR)$(PREFIX)/share)
OURS     := man/man1/jarside.1* man/man1/jarside-*.1* man/man5/jarside-*.5* bash-completion/completions/jarside \
            zsh/site-functions/_jarside fish/vendor_completions.d/jarside.fish

# Manual pages, from the program's own tables, and completions, laid out as below share/.
$(B)/manual/made: $(B)/jarside rules/FORMAT.md $(wildcard engine/cli/share/*)
	$(call say,write,$(@D))
	@rm -rf $(@D)
	@mkdir -p $(@D)/man/man1 $(@D)/man/man5
	$(Q)JARSIDE_RULES=$(CURDIR)/rules XDG_CONFIG_HOME=/nonexistent $(B)/jarside manual > $(@D)/pages
	$(Q)cat $(@D)/pages rules/FORMAT.md | awk -v to=$(@D)/man -f engine/cli/share/manual.awk
	@rm $(@D)/pages
	@install -D engine/cli/share/jarside.bash $(@D)/bash-completion/completions/jarside
	@install -D engine/cli/share/_jarside $(@D)/zsh/site-functions/_jarside
	@install -D engine/cli/share/jarside.fish $(@D)/fish/vendor_completions.d/jarside.fish
	@touch $@

install: all $(B)/manual/made  ## install below PREFIX (and DESTDIR)
	install -d $(TO_BIN) $(TO_DATA)
	install -m 755 $(B)/jarside $(TO_BIN)/jarside
	rm -rf $(TO_DATA)/rules $(TO_DATA)/corpus $(OURS:%=$(TO_SHARE)/%)
	cp -R rules corpus SAFETY.md $(TO_DATA)/
	rm -rf $(TO_DATA)/corpus/fuzz
	chmod -R u=rwX,go=rX $(TO_DATA)
	cd $(B)/manual && find . -type f ! -name made -exec install -D -m 644 '{}' $(TO_SHARE)/'{}' ';'

uninstall:  ## remove what install installed
	rm -f $(TO_BIN)/jarside $(TO_DATA)/SAFETY.md $(OURS:%=$(TO_SHARE)/%)
	rm -rf $(TO_DATA)/rules $(TO_DATA)/corpus
	[ ! -d $(TO_DATA) ] || rmdir --ignore-fail-on-non-empty $(TO_DATA)

deb:  ## build a Debian package in .build/deb (DEBFLAGS: more options of dpkg-deb)
	@rm -rf $(B)/stage
	@$(MAKE) --no-print-directory -s PREFIX=/usr DESTDIR=$(abspath $(B))/stage install
	@.debian/build $(B)/stage $(if $(filter .build/%,$(B)),.build,$(B))/deb

clean:  ## remove what was built
	rm -rf .build

-include $(shell find .build -type f -name '*.d' 2>/dev/null)
