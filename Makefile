# shiftband: `make help` lists the targets and settings.
#
# Sources are found by wildcard: a new file in src/, tests/ or tools/ needs no change here.

VERSION := $(shell sed -n 's/^\#define SB_VERSION "\(.*\)"/\1/p' include/shiftband/status.h 2>/dev/null)
ifeq ($(VERSION),)
VERSION := 0.0.0
endif

# Settings, all of them for the command line -----------------------------------------------------------------------
ifeq ($(origin CC),default)
CC = gcc
endif
VARIANT ?= release
BUILD ?= build
PREFIX ?= /usr/local
BINDIR ?= $(PREFIX)/bin
LIBDIR ?= $(PREFIX)/lib
INCLUDEDIR ?= $(PREFIX)/include
DATADIR ?= $(PREFIX)/share
MANDIR ?= $(DATADIR)/man
FUZZ_SECONDS ?= 360
CFLAGS ?=
LDFLAGS ?=
CLANG ?= clang
CLANG_FORMAT ?= clang-format
CLANG_TIDY ?= clang-tidy
CPPCHECK ?= cppcheck
GCOVR ?= gcovr
AR ?= ar
OBJCOPY ?= objcopy
LTO ?= 1
DEMO ?= scenarios/tray-cart.yaml

flags_release = -O2
flags_debug = -O0 -g3
flags_san = -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=all
flags_cov = -O0 -g --coverage
flags_tsan = -O1 -g -fno-omit-frame-pointer -fsanitize=thread
flags_fuzz = -O1 -g -fno-omit-frame-pointer -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all
VARIANTS = release debug san cov fuzz tsan
ifeq ($(filter $(VARIANT),$(VARIANTS)),)
$(error VARIANT=$(VARIANT) is none of: $(VARIANTS))
endif

OUT = $(BUILD)$(if $(filter release,$(VARIANT)),,/$(VARIANT))
OBJ = $(BUILD)/obj/$(VARIANT)
PROGRAM = $(OUT)/shiftband
LIBRARY = $(OUT)/libshiftband.a
# Until version 1.0 the interface may change with each minor version, and so the soname does.
SONAME = libshiftband.so.$(basename $(VERSION))
SHARED = $(OUT)/libshiftband.so.$(VERSION)

# Sources ----------------------------------------------------------------------------------------------------------
find_c = $(sort $(shell find $(1) -name '*.c' 2>/dev/null))
CLI_SRC := $(call find_c,src/cli)
LIB_SRC := $(filter-out src/cli/%,$(call find_c,src))
TEST_SRC := $(sort $(shell find tests -name 'test_*.c'))
HELPER_SRC := $(call find_c,tests/help tests/oracle)
FUZZ_SRC := $(sort $(wildcard tools/dev/fuzz/fuzz_*.c))
HEADERS := $(sort $(wildcard include/shiftband/*.h))
ALL_C := $(LIB_SRC) $(CLI_SRC) $(call find_c,tests tools)
ALL_H := $(sort $(shell find include src tests tools -name '*.h' 2>/dev/null))

LIB_OBJ := $(LIB_SRC:%.c=$(OBJ)/%.o)
TEXT_OBJ := $(OBJ)/manual/topics.o $(OBJ)/manual/starts.o
CLI_OBJ := $(CLI_SRC:%.c=$(OBJ)/%.o) $(TEXT_OBJ)
MANUAL := $(sort $(wildcard src/manual/*.md))
STARTS := $(sort $(wildcard src/manual/new/*.yaml))
HELPER_OBJ := $(HELPER_SRC:%.c=$(OBJ)/%.o)
# A test program bears its file's bare name; these are unique.
TESTS := $(addprefix $(OUT)/tests/,$(basename $(notdir $(TEST_SRC))))
FUZZERS := $(FUZZ_SRC:tools/dev/fuzz/%.c=$(OUT)/%)
FUZZ_HELP := tools/dev/fuzz/common.c tools/dev/fuzz/mutate.c

# Compiler and libraries -------------------------------------------------------------------------------------------
WARNINGS = -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wvla -Wstrict-prototypes -Wmissing-prototypes
ifneq ($(filter-out 0,$(WERROR)),)
WARNINGS += -Werror
endif

# Goals that compile nothing themselves have nothing to ask the compiler.
idle_goals = clean help format format-check controller-sizes test check demo coverage fuzz mutants same-bits faults fuzz-sample machines seeded threads trust
ifneq ($(or $(if $(MAKECMDGOALS),,all),$(filter-out $(idle_goals),$(MAKECMDGOALS))),)
omp_probe = printf '\#include <omp.h>\nint main(void) { return omp_get_max_threads() < 1; }\n'
OPENMP := $(shell mkdir -p $(BUILD) && $(omp_probe) | $(CC) -fopenmp -x c -o $(BUILD)/.omp$$PPID - 2>/dev/null && \
            echo -fopenmp; rm -f $(BUILD)/.omp$$PPID)
# The program is optimized as a whole at its link where the compiler can keep ordinary code beside (gcc): a tenth faster,
# the same bits. The tests link the ordinary code, for that is quicker.
ifneq ($(and $(filter release,$(VARIANT)),$(filter-out 0,$(LTO)),$(if $(filter -O0,$(CFLAGS)),,on)),)
WHOLE := $(shell printf 'int main(void) { return 0; }\n' | \
           $(CC) -O2 -flto=auto -ffat-lto-objects -Werror -x c -o $(BUILD)/.lto$$PPID - 2>/dev/null && echo yes; \
           rm -f $(BUILD)/.lto$$PPID)
endif
GSL_LIBS := $(shell pkg-config --libs gsl 2>/dev/null || echo -lgsl -lgslcblas -lm)
YAML_LIBS := $(shell pkg-config --libs yaml-0.1 2>/dev/null || echo -lyaml)
CMOCKA_LIBS := $(shell pkg-config --libs cmocka 2>/dev/null || echo -lcmocka)
# As system folders, so that their headers raise no warnings of ours.
LIB_INCLUDES := $(patsubst -I%,-isystem %,$(shell pkg-config --cflags-only-I gsl yaml-0.1 2>/dev/null))
TEST_INCLUDES := $(patsubst -I%,-isystem %,$(shell pkg-config --cflags-only-I cmocka 2>/dev/null))
endif
ifeq ($(OPENMP),)
WARNINGS += -Wno-unknown-pragmas
endif
LIBS = $(GSL_LIBS) $(YAML_LIBS) -lm

lto_compile = $(if $(WHOLE),-flto=auto -ffat-lto-objects)
lto_link = $(if $(WHOLE),-flto=auto)
lto_none = $(if $(WHOLE),-fno-lto)
compile_flags = -std=c17 $(flags_$(VARIANT)) -D_POSIX_C_SOURCE=200809L $(WARNINGS) -ffp-contract=off $(OPENMP) \
  -Iinclude -Isrc $(LIB_INCLUDES) $(CFLAGS)
link_flags = $(filter -O% -g% -f% --coverage,$(flags_$(VARIANT))) $(OPENMP) $(LDFLAGS)

# Where the tests find the sources and the program: for them only, nothing else knows an absolute path.
absolute = $(if $(filter /%,$(firstword $(1))),$(1),$(CURDIR)/$(1))
test_flags = -Itests $(TEST_INCLUDES) '-DSB_SOURCE_DIR="$(CURDIR)"' '-DSB_PROGRAM="$(call absolute,$(PROGRAM))"'

Q = $(if $(filter-out 0,$(V)),,@)
say = @printf '  %-5s %s\n'

# Targets ----------------------------------------------------------------------------------------------------------
.PHONY: all tests test check demo symbols layers format format-check lint coverage bench controller-sizes fuzz install clean \
  voice console mutants same-bits design-shelves faults help run-checks
.DELETE_ON_ERROR:
ifneq ($(filter clean,$(MAKECMDGOALS)),)
.NOTPARALLEL: # make -j clean all
endif
.SUFFIXES:

all: $(PROGRAM) $(LIBRARY) $(SHARED) ## build the program and the library, static and shared (default)

$(PROGRAM): $(CLI_OBJ) $(LIBRARY)
	$(say) link $@
	$(Q)$(CC) $(link_flags) $(lto_link) -o $@ $(CLI_OBJ) $(LIBRARY) $(LIBS) -ldl

$(LIBRARY): $(LIB_OBJ) $(OBJ)/objects $(OBJ)/described
	$(say) ar $@
	$(Q)rm -f $@ && $(AR) rcs $@ $(LIB_OBJ)

# An option, a key, a member or a column that nobody describes is not built.
$(OBJ)/described: tools/dev/check-texts $(LIB_SRC) $(CLI_SRC)
	@mkdir -p $(@D)
	$(Q)tools/dev/check-texts . && touch $@

# Of ordinary code: a link with optimization over all files takes its time. Beside it the links that programs look for.
$(SHARED): $(LIBRARY) $(HEADERS) tools/dev/version-script
	$(say) link $@
	$(Q)tools/dev/version-script $(LIBRARY) SHIFTBAND_$(basename $(VERSION)) $(HEADERS) > $(OBJ)/exports
	$(Q)$(CC) -shared $(link_flags) $(lto_none) -Wl,-soname,$(SONAME) -Wl,--version-script,$(OBJ)/exports \
	  -Wl,--whole-archive $(LIBRARY) -Wl,--no-whole-archive -Wl,-z,defs -o $@ $(LIBS)
	$(Q)ln -sf $(@F) $(OUT)/$(SONAME) && ln -sf $(@F) $(OUT)/libshiftband.so

# Two notes in the build folder make a changed compiler or flag rebuild all, and a removed source the archive.
$(OBJ)/flags: export SB_NOTE = $(CC) $(compile_flags) $(point_flags) $(lto_compile) $(link_flags) $(LIBS) in $(CURDIR)
$(OBJ)/objects: export SB_NOTE = $(LIB_OBJ)
$(OBJ)/flags $(OBJ)/objects: FORCE
	@mkdir -p $(@D) $(OUT)/tests
	@printf '%s\n' "$$SB_NOTE" | cmp -s - $@ || { \
	  printf '%s\n' "$$SB_NOTE" > $@; \
	  $(if $(OPENMP)$(filter %objects,$@),:,echo "  note: $(CC) finds no OpenMP (clang: libomp-dev): one thread"); }
.PHONY: FORCE
FORCE:

# Numbers have a decimal point in every locale (base/c_locale.h), and the code may lie anywhere, for the shared library.
point_flags = -include base/c_locale.h -fPIC -fno-semantic-interposition
plain_obj = $(OBJ)/src/controller/%.o $(OBJ)/src/base/c_locale.o
$(filter $(plain_obj),$(LIB_OBJ)): own_flags = $(wordlist 3,9,$(point_flags))
$(filter-out $(plain_obj),$(LIB_OBJ)): own_flags = $(point_flags)
$(OBJ)/manual/topics.c: $(MANUAL) tools/dev/texts-to-c
	@mkdir -p $(@D)
	$(Q)tools/dev/texts-to-c sb_topics $(MANUAL) > $@

$(OBJ)/manual/starts.c: $(STARTS) tools/dev/texts-to-c
	@mkdir -p $(@D)
	$(Q)tools/dev/texts-to-c sb_starts $(STARTS) > $@

$(TEXT_OBJ): %.o: %.c $(OBJ)/flags
	$(say) cc $<
	$(Q)$(CC) $(compile_flags) $(lto_compile) -MMD -MP -c -o $@ $<

$(LIB_OBJ) $(filter-out $(TEXT_OBJ),$(CLI_OBJ)): $(OBJ)/%.o: %.c $(OBJ)/flags
	$(say) cc $<
	@mkdir -p $(@D)
	$(Q)$(CC) $(compile_flags) $(own_flags) $(lto_compile) -MMD -MP -c -o $@ $<

$(OBJ)/tests/%.o: tests/%.c $(OBJ)/flags
	$(say) cc $<
	@mkdir -p $(@D)
	$(Q)$(CC) $(compile_flags) $(test_flags) -MMD -MP -c -o $@ $<

test_object = $(OBJ)/$(basename $(filter %/$(1).c,$(TEST_SRC))).o
.SECONDEXPANSION:
$(TESTS): $(OUT)/tests/%: $$(call test_object,$$*) $(HELPER_OBJ) $(LIBRARY)
	@mkdir -p $(@D)
	$(say) link $@
	$(Q)$(CC) $(link_flags) $(lto_none) -o $@ $< $(HELPER_OBJ) $(LIBRARY) $(CMOCKA_LIBS) $(LIBS)

.SECONDARY: $(TEST_SRC:%.c=$(OBJ)/%.o) $(HELPER_OBJ)

tests: all $(TESTS) ## build all test programs without running them

test: ## install what is missing, then build and run all tests, and the controller's size check where cross compilers are
	@CC='$(CC)' tools/install-needs build test
	@$(MAKE) --no-print-directory run-checks SIZES_FLAGS=--skip-missing

check: ## the same without installing anything
	@$(MAKE) --no-print-directory run-checks SIZES_FLAGS=--skip-missing

# The sizes come first so that the summed line of the tests stays the last one.
run-checks: tests
ifneq ($(and $(filter release,$(VARIANT)),$(wildcard tools/dev/controller-sizes)),)
	@status=0; \
	CC='$(CC)' tools/dev/controller-sizes $(SIZES_FLAGS) || { status=1; echo "  the controller's size check FAILED"; }; \
	tools/dev/run-tests $(OUT)/tests $(TESTS) && exit $$status
else
	@tools/dev/run-tests $(OUT)/tests $(TESTS)
endif

demo: ## install what is missing, build, and run the bundled scenario with a picture where gnuplot exists
	@CC='$(CC)' tools/install-needs build
	@$(MAKE) --no-print-directory -j$$(nproc) all
	@tools/demo $(PROGRAM) $(DEMO) $(OUT)

symbols: $(LIBRARY) ## check how the library names its global symbols, and what it calls
	@tools/dev/check-symbols $(LIBRARY) . $(OBJ)

layers: $(LIBRARY) $(CLI_OBJ) ## check that no include and no call goes to a later room of tools/dev/rooms, or in a circle
	@tools/dev/check-layers . $(OBJ)

format: ## reformat all C files
	$(Q)$(CLANG_FORMAT) -i $(ALL_C) $(ALL_H)

format-check: ## fail when `make format` would change anything
	@printf '%s\n' $(ALL_C) $(ALL_H) | xargs -n 100 $(CLANG_FORMAT) --dry-run -Werror || { echo '  these are not formatted: run make format'; exit 1; }
	$(say) fine 'format of $(words $(ALL_C) $(ALL_H)) files'

# What cppcheck can't see (system headers), what reads better as it is (narrow scopes, unused parts of the interface),
# and what 2.10 gets wrong: fields set by designated initializers, the value of a call that took &local, writes
# through casts and macros.
CPPCHECK_OFF = missingIncludeSystem unusedFunction variableScope constParameter constParameterCallback \
  constParameterPointer constVariablePointer unmatchedSuppression normalCheckLevelMaxBranches \
  legacyUninitvar returnDanglingLifetime unreadVariable duplicateCondition
LINT_SRC = $(ALL_C)
lint_flags = -std=c17 -D_POSIX_C_SOURCE=200809L -Iinclude -Isrc -Itests $(LIB_INCLUDES) -DSB_SOURCE_DIR=\"dir\" \
  -DSB_PROGRAM=\"program\"

lint: lint-cppcheck lint-tidy ## clang-tidy and cppcheck over all C files

.PHONY: lint-cppcheck lint-tidy
lint-cppcheck:
	$(say) lint 'cppcheck over $(words $(ALL_C)) files'
	$(Q)$(CPPCHECK) --quiet --std=c11 --enable=warning,style,performance,portability --error-exitcode=1 --inline-suppr \
	  --template='{file}:{line}: {severity}: {message} [{id}]' -j 2 -D__GNUC__ -Iinclude -Isrc -Itests \
	  $(CPPCHECK_OFF:%=--suppress=%) $(ALL_C)

# One file a call: clang-tidy 14 reports sound va_lists when it takes several at once.
lint-tidy:
	$(say) lint 'clang-tidy over $(words $(LINT_SRC)) files'
	$(Q)printf '%s\n' $(LINT_SRC) | xargs -P 2 -n 1 sh -c \
	  'said=$$($(CLANG_TIDY) --quiet "$$1" -- $(lint_flags) 2>&1) || { echo "$$said"; exit 1; }' tidy

coverage: ## run the tests of the cov variant and print how much of src/ they reach
	@rm -rf $(BUILD)/obj/cov/*.gcda; find $(BUILD)/obj/cov -name '*.gcda' -exec rm -f {} + 2> /dev/null || :
	@$(MAKE) --no-print-directory run-checks VARIANT=cov
	@$(GCOVR) --root . --object-directory $(BUILD)/obj/cov --filter src/ --print-summary --sort-percentage

$(OUT)/bench: tools/dev/bench.c $(LIBRARY)
	$(say) cc $<
	$(Q)$(CC) $(compile_flags) $(link_flags) $(lto_link) -o $@ $< $(LIBRARY) $(LIBS)

bench: all $(OUT)/bench ## build and run the benchmark
	@$(OUT)/bench

controller-sizes: ## size of the controller module on small targets
	@CC='$(CC)' tools/dev/controller-sizes

targets: $(PROGRAM) ## install cross compilers and simulators, and run the controller's self-tests on two microcontrollers
	@CC='$(CC)' tools/install-needs targets
	@CC='$(CC)' tools/dev/controller-sizes
	@tools/dev/run-targets $(PROGRAM)

DEB = $(BUILD)/deb/shiftband-$(VERSION)
deb: ## build Debian packages below build/deb (installs what that needs)
	@CC='$(CC)' tools/install-needs build deb
	@rm -rf $(BUILD)/deb && mkdir -p $(DEB)
	@cp -r Makefile README.md DEVELOPERS.md LICENSE .clang-format include src scenarios tests tools $(DEB)/
	@cp -r tools/debian $(DEB)/debian
	@cd $(DEB) && env -u MAKEFLAGS -u MFLAGS dpkg-buildpackage -us -uc -b
	@cd $(BUILD)/deb && lintian --fail-on error,warning *.changes
	@ls -l $(BUILD)/deb/*.deb
.PHONY: targets deb

# Built with clang in a variant of its own, with its sanitizers; the ten targets take an hour in all.
fuzz: ## run every fuzz target for FUZZ_SECONDS; FUZZ_TARGETS=names for some of them
	@CC='$(CC)' tools/install-needs build fuzz
	@$(MAKE) --no-print-directory run-fuzz VARIANT=fuzz CC=$(CLANG)

# The same targets without libFuzzer and with objects that the tests use: blind, and quick to build.
fuzz-sample: ## replay the seeds of every fuzz target, and FUZZ_SECONDS=2 of blind changes, with sanitizers
	@$(MAKE) --no-print-directory run-fuzz VARIANT=san FUZZ_KIND=.alone FUZZ_SECONDS=$(or $(filter-out 360,$(FUZZ_SECONDS)),2)

.PHONY: run-fuzz fuzz-sample
FUZZ_TARGETS ?= $(patsubst fuzz_%,%,$(notdir $(FUZZERS)))
run-fuzz: $(PROGRAM) $(FUZZERS:%=%$(FUZZ_KIND)) $(OUT)/fuzz.words
	@for target in $(FUZZ_TARGETS); do \
	  tools/dev/fuzz/run-fuzz $(OUT)/fuzz_$$target$(FUZZ_KIND) $(FUZZ_SECONDS) $(PROGRAM) $(OUT)/fuzz.words || exit 1; \
	done

# All but the program's entry.
cli_parts = $(filter-out %/main.o,$(CLI_OBJ))
$(FUZZERS): $(OUT)/%: tools/dev/fuzz/%.c $(FUZZ_HELP) tools/dev/fuzz/common.h $(cli_parts) $(LIBRARY)
	$(say) cc $<
	$(Q)$(CC) $(compile_flags) -fsanitize=fuzzer,address,undefined -o $@ $< $(FUZZ_HELP) $(cli_parts) $(LIBRARY) $(LIBS) -ldl

$(FUZZERS:%=%.alone): $(OUT)/%.alone: tools/dev/fuzz/%.c $(FUZZ_HELP) tools/dev/fuzz/alone.c tools/dev/fuzz/common.h $(cli_parts) $(LIBRARY)
	$(say) cc $<
	$(Q)$(CC) $(compile_flags) $(link_flags) -o $@ $< $(FUZZ_HELP) tools/dev/fuzz/alone.c $(cli_parts) $(LIBRARY) $(LIBS) -ldl

$(OUT)/fuzz.words: tools/dev/fuzz/dictionary.c $(cli_parts) $(LIBRARY)
	$(say) cc $<
	$(Q)$(CC) $(compile_flags) $(link_flags) -o $(OUT)/dictionary $< $(cli_parts) $(LIBRARY) $(LIBS) -ldl
	$(Q)$(OUT)/dictionary > $@

MUTANTS ?= 400
MUTANT_SEED ?= 1
mutants: ## change MUTANTS lines, one at a time, and tell which changes the tests do not notice
	@CC='$(CC)' MUTANTS=$(MUTANTS) MUTANT_SEED=$(MUTANT_SEED) tools/dev/mutants $(BUILD)/mutants

LONG_SHARE ?= 1
long: $(PROGRAM) ## a run of 1e9 steps, a map of 1e6 samples, 1e5 tasks over 8 shards with half of them killed; LONG_SHARE=100: so much less
	@tools/dev/long $(PROGRAM) $(BUILD)/long --share $(LONG_SHARE)

# Clang's: its OpenMP tells the sanitizer of its own locks (libarcher).
threads: ## run what has threads under the thread sanitizer
	@$(MAKE) --no-print-directory run-threads VARIANT=tsan CC=$(CLANG)

run-threads: $(PROGRAM) $(OUT)/tests/test_study
	@tools/dev/threads $(PROGRAM) $(OUT)/tests/test_study

trust: ## all of these at length, some hours, and one table of what was tried, how often, what failed; TRUST=names for some
	@MAKE='$(MAKE)' tools/dev/trust $(BUILD)/trust $(TRUST)
.PHONY: long threads run-threads trust

seeded: ## put the faults of tools/dev/seeded in, one at a time: the tests must notice each
	@CC='$(CC)' MUTANT_LIST=tools/dev/seeded MUTANT_SHARE=100 tools/dev/mutants $(BUILD)/seeded
.PHONY: seeded

design-shelves: $(OUT)/tests/test_design ## design: 30 random shelves against running every machine, some minutes
	@SB_DESIGN_SHELVES=30 $(OUT)/tests/test_design

any-load-machines: $(OUT)/tests/test_any_load ## planes for every load: 200 random machines against prove, some minutes
	@SB_ANY_LOAD_MACHINES=200 $(OUT)/tests/test_any_load

shipped-answers: $(OUT)/tests/test_shipped ## tune: every shipped scenario's answer against runs of a lattice, some minutes
	@SB_TUNE_SHIPPED=all $(OUT)/tests/test_shipped

# The libraries are linked statically so that what they ask for can be refused, too.
FAULTS_EVERY ?= 1
FAULT_LIBS = -Wl,-Bstatic $(filter-out -lm,$(GSL_LIBS)) $(YAML_LIBS) -Wl,-Bdynamic -lm -ldl
REFUSED = malloc calloc realloc strdup open_memstream read write sb_shortage_brace sb_shortage_relax
faults: ## refuse allocations and system calls one at a time, every FAULTS_EVERY-th of each command
	@$(MAKE) --no-print-directory run-faults-memory VARIANT=san
	@$(MAKE) --no-print-directory run-faults-calls

.PHONY: run-faults-memory run-faults-calls
run-faults-memory: $(OUT)/shiftband-refusing
	@tools/dev/faults memory $< --every $(FAULTS_EVERY)

run-faults-calls: $(OUT)/shiftband-static
	@tools/dev/faults calls $< --every $(FAULTS_EVERY)

$(OUT)/shiftband-refusing: tools/dev/refuse.c $(CLI_OBJ) $(LIBRARY)
	$(say) link $@
	$(Q)$(CC) $(compile_flags) $(link_flags) -o $@ $< $(CLI_OBJ) $(LIBRARY) $(REFUSED:%=-Wl,--wrap=%) $(FAULT_LIBS)

# Without a loader, whose own calls are none of ours. dlopen() in it is never called here.
$(OUT)/shiftband-static: $(CLI_OBJ) $(LIBRARY)
	$(say) link $@
	$(Q)$(CC) -static $(link_flags) $(lto_none) -o $@ $(CLI_OBJ) $(LIBRARY) $(LIBS) -ldl 2> /dev/null

same-bits: ## compare traces and a map byte by byte between gcc -O0, gcc -O3 and clang -O2
	@MAKE='$(MAKE)' tools/dev/same-bits $(BUILD)/same-bits

machines: ## build for i386, arm64, armhf and s390x, run under QEMU, and compare bytes; MACHINES=names for some of them
	@CC='$(CC)' tools/install-needs build machines || echo '  what is missing is skipped'
	@MAKE='$(MAKE)' tools/dev/machines $(BUILD)/machines $(MACHINES)
.PHONY: machines

voice: $(OUT)/tests/test_voice ## write tests/voice.txt, the list of all texts for people, anew from the sources
	@SB_VOICE_WRITE=1 $(OUT)/tests/test_voice > /dev/null

console: $(PROGRAM) $(OUT)/tests/test_console ## write README.md, src/manual/ and the schema of scenarios again from what commands print
	@$(PROGRAM) keys --json > scenarios/scenario.schema.json
	@SB_CONSOLE_WRITE=1 $(OUT)/tests/test_console > /dev/null

# What is installed, a line each: mode, source, the variable of its folder, name there (tools/install-files).
TOOLS := tools/report tools/shiftband.py $(wildcard tools/plot/*)
SCENARIOS := $(sort $(wildcard scenarios/*.yaml scenarios/*.json scenarios/data/*))
CONTROLLER := $(wildcard src/controller/*.[ch])
line = '$(1) $(2) $(3) $(4)'
install_lines = $(call line,755,$(PROGRAM),BINDIR,shiftband) \
  $(call line,644,$(OUT)/install/libshiftband.a,LIBDIR,libshiftband.a) \
  $(call line,755,$(SHARED),LIBDIR,$(notdir $(SHARED))) $(call line,link,$(notdir $(SHARED)),LIBDIR,$(SONAME)) \
  $(call line,link,$(SONAME),LIBDIR,libshiftband.so) \
  $(call line,644,$(OUT)/install/shiftband.pc,LIBDIR,pkgconfig/shiftband.pc) \
  $(foreach f,$(HEADERS),$(call line,644,$(f),INCLUDEDIR,$(f:include/%=%))) \
  $(foreach f,$(CONTROLLER),$(call line,644,$(f),DATADIR,$(f:src/%=shiftband/%))) \
  $(foreach f,$(TOOLS),$(call line,$(if $(filter %/picture.py,$(f)),644,755),$(f),DATADIR,shiftband/$(f))) \
  $(foreach f,$(SCENARIOS),$(call line,644,$(f),DATADIR,shiftband/$(f))) \
  $(foreach p,$(shell $(PROGRAM) help --man 2>/dev/null),\
    $(call line,644,$(OUT)/install/$(p),MANDIR,man$(lastword $(subst ., ,$(p)))/$(p))) \
  $(call line,644,$(OUT)/install/completion.bash,DATADIR,bash-completion/completions/shiftband) \
  $(call line,644,$(OUT)/install/completion.zsh,DATADIR,zsh/site-functions/_shiftband) \
  $(call line,644,$(OUT)/install/completion.fish,DATADIR,fish/vendor_completions.d/shiftband.fish) \
  $(foreach f,LICENSE README.md,$(call line,644,$(f),DATADIR,doc/shiftband/$(f)))
place_files = @printf '%s\n' $(install_lines) | \
  DESTDIR='$(DESTDIR)' BINDIR='$(BINDIR)' LIBDIR='$(LIBDIR)' INCLUDEDIR='$(INCLUDEDIR)' DATADIR='$(DATADIR)' \
  MANDIR='$(MANDIR)' tools/install-files

install: all ## install all for users (PREFIX, BINDIR, LIBDIR, INCLUDEDIR, DATADIR, MANDIR, DESTDIR)
	@$(MAKE) --no-print-directory place

# What is built already: the static library without the code that only this compiler can read, and the pkg-config file, where
# who links the static library needs what the shared one brings along by itself: that is private.
place:
	@mkdir -p $(OUT)/install
	$(Q)cp $(LIBRARY) $(OUT)/install/ && $(OBJCOPY) --wildcard --remove-section='.gnu.lto_*' $(OUT)/install/libshiftband.a
	@printf '%s\n' 'prefix=$(PREFIX)' 'libdir=$(LIBDIR)' 'includedir=$(INCLUDEDIR)' '' 'Name: shiftband' \
	  'Description: simulation and tuning of gearboxes that shift by hysteresis on motor speed' 'Version: $(VERSION)' \
	  'Requires.private: gsl yaml-0.1' 'Cflags: -I$${includedir}' 'Libs: -L$${libdir} -lshiftband' \
	  'Libs.private: $(OPENMP) -lm' > $(OUT)/install/shiftband.pc
	@for page in $$($(PROGRAM) help --man); do $(PROGRAM) help --man $$page > $(OUT)/install/$$page || exit 1; done
	@for shell in bash zsh fish; do $(PROGRAM) help --completion $$shell > $(OUT)/install/completion.$$shell || exit 1; done
	$(place_files) install

uninstall: ## remove what `make install` with the same settings put there
	$(place_files) uninstall
.PHONY: place uninstall

clean: ## remove the build folder
	rm -rf $(BUILD)

help: ## this list
	@sed -n 's/^\([a-z-]*\):[^#]*## \(.*\)/  \1\t\2/p' Makefile | expand -t 22
	@echo
	@echo '  VARIANT=release|debug|san|cov|tsan   other variants than release go to build/VARIANT'
	@echo '  CC=gcc|clang  WERROR=1  LTO=0  V=1 (show commands)  BUILD=folder  CFLAGS=  LDFLAGS=  PREFIX=  DESTDIR='
	@echo '  JOBS=n (test programs at a time, default: all cores)  FUZZ_SECONDS=360  MUTANTS=400  MUTANT_SEED=1'

-include $(LIB_OBJ:.o=.d) $(CLI_OBJ:.o=.d) $(HELPER_OBJ:.o=.d) $(TEST_SRC:%.c=$(OBJ)/%.d)
