"""Important lines, each with one way to break it and the tests that must notice. Every text stands once in its file.

Where a line changes, change its row with it; where a mutation survives, a test is missing, not a row too many.
"""

from typing import NamedTuple


class Mutation(NamedTuple):
    """One line, broken."""

    file: str  # in calib/
    good: str
    broken: str
    tests: tuple[str, ...]  # in tests/; none of them a golden


UNITS, HALF_PATH = "floor/test_units.py", "floor/test_half_path.py"
DOCUMENT, TABLE, STORE = "profile/test_document.py", "profile/test_table.py", "profile/store/test_growing_files.py"
RUN_FILE, PLAN = "acquire/files/test_run_file.py", "acquire/recording/test_plan.py"
ESTIMATE, JOINED, SOURCES = "fit/curve/test_estimate.py", "fit/curve/test_joined.py", "fit/curve/test_sources.py"
FIT_FINDINGS, DAYS, SPREADS = "fit/curve/test_findings.py", "fit/curve/test_days.py", "fit/curve/test_spreads.py"
ZERO, DRIFT, COLUMNS = (
    "fit/curve/test_zero_and_display.py",
    "fit/curve/test_correlation.py",
    "fit/curve/test_columns.py",
)
CHECK, WATER, REGRESSION = "fit/gear/test_check.py", "fit/gear/test_published.py", "fit/gear/test_regression.py"
FACTORS, PLATES = "fit/gear/test_uncertainty.py", "fit/gear/test_plate_set.py"
PAIR_LIMITS = "use/bands/test_matching.py"
PAIR, COMPARE, SERIES = "use/bands/test_pair.py", "use/bands/test_compare.py", "use/bands/test_series.py"
COLLECTION, RECHECKS = "profile/store/test_collection.py", "use/bands/test_rechecks.py"
FIRST_KILOS, KEYBOARD = "use/report/test_first_kilos.py", "verbs/terminal/test_keyboard.py"
HAND, CONDITIONS, RIG = "use/rig/test_hand_worked.py", "use/rig/test_conditions.py", "verbs/rig/test_command.py"
CAUTIONS, FIGURES = "use/rig/test_anchors.py", "use/report/test_figures.py"

READERS, WRITERS, SYSTEMS = "floor/test_readers.py", "floor/test_writers.py", "floor/test_system.py"
STRANGERS, MANY = "verbs/test_what_strangers_meet.py", "verbs/terminal/test_many.py"
LONG_TABLE = "acquire/test_long_table.py"
BOUNDS = "floor/test_bounds.py"
HOSTILE = "verbs/test_hostile_input.py"
BAD_SERIES = "use/bands/test_bad_input.py"
SCALE_COMMAND = "verbs/scale/test_command.py"
LAYOUT = "acquire/files/test_table_layout.py"
TYPED = "acquire/recording/test_typed.py"
MACHINE = "acquire/recording/test_state_machine.py"
CELL_LINES = "acquire/cell/test_lines.py"
LIFTERS = "use/rig/test_lifters.py"
PLAN_TEST = "use/lineup/test_plan.py"
SOLVE = "use/rig/test_solve.py"
SOLVE_COMMAND = "verbs/rig/test_solve_command.py"
DOOR = "verbs/test_door.py"
DEMO = "verbs/test_show_and_demo.py"
ACCESS = "web/test_access.py"
WEB_ANSWERS = "web/test_answers.py"
WEB_BANDS = "web/test_bands.py"
WEB_RIGS = "web/test_rigs.py"
WEB_MEASURING = "web/test_measuring.py"

MUTATIONS = (
    # the floor
    Mutation("gravity.py", "normal - _FREE_AIR", "normal + _FREE_AIR", (UNITS,)),
    Mutation("gravity.py", "(1 - _E2 * s2)", "(1 + _E2 * s2)", (UNITS,)),
    Mutation("half_path.py", "((pi - 2) * d + (pi - 4) * t)", "((pi - 2) * d + (pi + 4) * t)", (HALF_PATH,)),
    Mutation("half_path.py", "pi * (d + t) / 2", "pi * (d + t)", (HALF_PATH,)),
    Mutation("half_path.py", "flat_length - (2 - pi / 2)", "flat_length + (2 - pi / 2)", (HALF_PATH,)),
    Mutation("units.py", "(value - 32) / 1.8", "(value + 32) / 1.8", (UNITS,)),
    Mutation("units.py", '"lbf": POUND * G_STANDARD', '"lbf": POUND', (UNITS,)),
    Mutation("safe_write.py", "if len(data) > cap_bytes", "if len(data) < 0", (STORE,)),
    Mutation("strict_json.py", "if len(data) > cap_bytes", "if len(data) < 0", (DOCUMENT,)),
    Mutation("strict_json.py", "if key in out:", "if key is None:", (DOCUMENT,)),
    # acquire
    Mutation("acquire/files/run_file.py", "os.ftruncate(self._descriptor, self._size)", "pass", (RUN_FILE,)),
    Mutation("acquire/files/run_file.py", ".st_size != self._size", ".st_size < 0", (RUN_FILE,)),
    Mutation("acquire/recording/plan.py", "CAPACITY_SHARE * limits.capacity", "limits.capacity", (PLAN,)),
    Mutation("acquire/recording/plan.py", "if stretch > REFUSE_STRETCH", "if stretch > 2 * REFUSE_STRETCH", (PLAN,)),
    Mutation("acquire/recording/plan.py", "self.rest - self.offset", "self.rest + self.offset", (PLAN,)),
    # fit: one band
    Mutation("fit/curve/sources.py", "/ DAYS_PER_MONTH) ** 0.5", "/ DAYS_PER_MONTH) ** 1", (SOURCES,)),
    Mutation("fit/curve/sources.py", "zero.drift / np.sqrt(12)", "0 * zero.drift", (SOURCES,)),
    Mutation("fit/curve/sources.py", "(dg + 2 * dq * zero)", "(dg - 2 * dq * zero)", (SOURCES,)),
    Mutation("fit/curve/sources.py", "(drift**2 - before**2)", "(drift**2 + before**2)", (JOINED, SOURCES)),
    Mutation("fit/curve/sources.py", "(1 - stretch**-0.5)", "(1 + stretch**-0.5)", (SOURCES,)),
    Mutation("fit/curve/observations.py", "fixed.force(s) - fixed.force(z)", "fixed.force(s)", (SOURCES,)),
    Mutation("fit/curve/observations.py", "net = -net", "net = +net", (ESTIMATE,)),
    Mutation("fit/curve/observations.py", "net + _cut_off(shown", "net - _cut_off(shown", (ZERO,)),
    Mutation("fit/curve/observations.py", "dtype=float) + hook", "dtype=float) - hook", (SOURCES,)),
    Mutation("fit/curve/observations.py", "since = np.maximum(number", "since = np.minimum(number", (ZERO,)),
    Mutation("fit/curve/own_weight.py", '"hook-only": -1.0', '"hook-only": 1.0', (ESTIMATE,)),
    Mutation("fit/curve/own_weight.py", "p.altitude)[0] / 2, 0.0", "p.altitude)[0], 0.0", (ESTIMATE,)),
    Mutation("fit/curve/budget.py", "1 - work_down / work_up", "1 + work_down / work_up", (ESTIMATE,)),
    Mutation("fit/curve/days.py", "else self.size * 2**0.5", "else self.size", (DAYS,)),
    Mutation("fit/curve/elastic.py", "(1 + 2 * stretch**-3)", "(1 - 2 * stretch**-3)", (COLUMNS,)),
    Mutation("fit/curve/elastic.py", "stretch**2 + 2 / stretch - 3", "stretch**2 - 2 / stretch - 3", (COLUMNS,)),
    Mutation("fit/curve/loop.py", "correlation) - kernel(a, zero", "correlation) + kernel(a, zero", (COLUMNS,)),
    Mutation("fit/curve/mixed.py", "seen.resolution**2 / 12", "seen.resolution**2", (ESTIMATE, COLUMNS)),
    Mutation("fit/curve/mixed.py", "= -slope_ln_g(stretch)", "= slope_ln_g(stretch)", (COLUMNS,)),
    Mutation("fit/curve/outliers.py", '(2.2046, "pounds', '(0.45359, "pounds', (SPREADS,)),
    Mutation("fit/curve/outliers.py", "use if (~use).mean() <= MOST", "use if (~use).mean() <= 1", (COLUMNS,)),
    Mutation("fit/curve/estimate.py", "coverage_factor(len(seen) - 1)", "coverage_factor(np.inf)", (ESTIMATE,)),
    Mutation("fit/curve/estimate.py", 'if r.branch == "unloading" else 1)', "if not r.branch else 1)", (ESTIMATE,)),
    Mutation("fit/curve/estimate.py", "resolution / 12**0.5)", "0 * resolution)", (SOURCES, COMPARE)),
    Mutation("fit/curve/correlation.py", "alone.next + SURE", "alone.next - SURE", (DRIFT,)),
    Mutation("fit/curve/tables.py", "variance - (shifts**2)", "variance + (shifts**2)", (ESTIMATE,)),
    # fit: gear
    Mutation("fit/gear/known_loads.py", "_BOUND = 1 / sqrt(3)", "_BOUND = 1.0", (PLATES, CHECK)),
    Mutation("fit/gear/known_loads.py", "water_density(temperature) - AIR", "water_density(temperature)", (WATER,)),
    Mutation("fit/gear/known_loads.py", "(self.u_each * nominal) ** 2 +", "0 * nominal +", (CHECK,)),
    Mutation("fit/gear/scale_correction.py", "share = own / (own", "share = prior / (own", (CHECK,)),
    Mutation("fit/gear/scale_correction.py", "covariance += np.outer(factor, factor)", "pass", (CHECK,)),
    Mutation("fit/gear/scale_check.py", "self.shown_for(force) - force", "force - self.shown_for(force)", (CHECK,)),
    Mutation("fit/gear/weighings.py", "zeros[-1] - zeros[0]", "zeros[0] - zeros[-1]", (CHECK,)),
    Mutation("fit/gear/regression.py", "dof_below / (dof_below +", "dof_above / (dof_below +", (REGRESSION,)),
    Mutation("fit/gear/dof.py", "0.5 + level / 2", "level", (FACTORS,)),
    # profile and its store
    Mutation("profile/table.py", "- 2 * shared_covariance", "+ 2 * shared_covariance", (TABLE,)),
    Mutation("profile/table.py", "U_EXPONENT * distance", "0 * distance", (TABLE,)),
    Mutation("profile/table.py", "(1 + 2 / l**3)", "(1 - 2 / l**3)", (TABLE,)),
    Mutation("profile/table.py", "here.u / abs(here.slope)", "here.u * abs(here.slope)", (TABLE,)),
    Mutation("profile/table.py", "last + FARTHEST * (last", "last + 4 * FARTHEST * (last", (TABLE,)),
    Mutation(
        "profile/document.py", "spread.between_day_gain**2\n        return float(", "0\n        return float(", (TABLE,)
    ),
    Mutation("profile/store/uses.py", "or at > after", "or at < after", (COLLECTION,)),
    Mutation("profile/store/log_file.py", 'there[: there.rfind(b"\\n") + 1]', "there", (STORE,)),
    # use: bands
    Mutation("use/bands/matching.py", "(np.maximum(a.ratio, b.ratio)", "(np.minimum(a.ratio, b.ratio)", (PAIR,)),
    Mutation("use/bands/matching.py", "apart).max(axis=2)", "apart).sum(axis=2)", (PAIR_LIMITS,)),
    Mutation("use/bands/matching.py", "if not known[pair]]", "if False]", (PAIR_LIMITS,)),
    Mutation(
        "use/bands/pair.py", "_mean(a.force + b.force, lengths) / 2", "_mean(a.force + b.force, lengths)", (PAIR,)
    ),
    Mutation("use/bands/pair.py", "none) - b.sources.get(key", "none) + b.sources.get(key", (PAIR,)),
    Mutation("use/bands/shared_lengths.py", "curve.force - along * seen", "curve.force + along * seen", (COMPARE,)),
    Mutation("use/bands/shared_lengths.py", '(-1 if branch == "loading" else 1)', "1", (COMPARE, PAIR)),
    Mutation(
        "use/bands/compare.py", "abs(self.level_ratio - 1) > self.k *", "abs(self.level_ratio - 1) > 9 *", (COMPARE,)
    ),
    Mutation(
        "use/bands/recheck.py",
        "pull_of(profile, hung) / _warmer",
        "pull_of(profile, hung) * _warmer",
        (RECHECKS, COLLECTION),
    ),
    Mutation("use/bands/recheck.py", "hung.u_mass / hung.mass", "0 * hung.u_mass", (RECHECKS, COLLECTION)),
    Mutation(
        "use/bands/series.py",
        "log1p(now.relative) - log1p(was.relative)",
        "log1p(was.relative) - log1p(now.relative)",
        (SERIES,),
    ),
    # use: rigs
    Mutation("use/rig/rig_geometry.py", "folds * rise / distance", "rise / distance", (HAND,)),
    Mutation("use/rig/rig_geometry.py", "around + HITCH_EXTRA[0]", "around - HITCH_EXTRA[0]", (HAND,)),
    Mutation("use/rig/statics.py", "in_kg.value + weight", "in_kg.value - weight", (RIG,)),
    Mutation("use/rig/statics.py", '"both": 0.5', '"both": 1.0', (HAND,)),
    Mutation(
        "use/rig/rig_curve.py",
        "(-1 if self.shortening else 1) * rate",
        "(1 if self.shortening else 1) * rate",
        (CONDITIONS,),
    ),
    Mutation("use/rig/anchors.py", "anchor.holds * g - load.uplift", "anchor.holds * g + load.uplift", (CAUTIONS,)),
    Mutation(
        "use/rig/anchors.py",
        "max(rest, 0.0) * anchor.footprint / 2:",
        "max(rest, 0.0) * anchor.footprint:",
        (CAUTIONS,),
    ),
    Mutation("use/rig/anchors.py", "most - answer.rig.bar.mass", "most + answer.rig.bar.mass", (RIG,)),
    Mutation("use/report/figures.py", "mpl.rcdefaults()", "pass", (FIGURES,)),
    # what keeps an attack off
    Mutation("safe_read.py", "stat.S_ISREG(mode)", "True", (READERS,)),
    Mutation("safe_read.py", "cap_bytes + 1", "-1", (READERS,)),
    Mutation("strict_toml.py", "found := _LONG_KEY.search(text)", "found := None", (READERS,)),
    Mutation("strict_toml.py", "> MOST_TABLES", "> 10**9", (READERS,)),
    Mutation("safe_write.py", "        _refuse_existing(path)\n        with locked", "        with locked", (WRITERS,)),
    Mutation("safe_write.py", "place.rmdir()", "place.exists()", (WRITERS,)),
    Mutation("safe_write.py", 'apart = "" if alone', 'apart = "" if True', (WRITERS,)),
    Mutation("safe_write.py", '" " * note.startswith(FORMULA)', '""', (STRANGERS,)),
    Mutation("system.py", "casefold() == path.name.casefold()", "strip() == path.name", (WRITERS,)),
    Mutation("system.py", '"O_NOFOLLOW"', '"O_NONE"', (WRITERS,)),
    Mutation("system.py", "WINDOWS and getattr", "not WINDOWS and getattr", (SYSTEMS,)),
    Mutation("file_lock.py", "taken and _is_still(lock, descriptor)", "taken", (WRITERS,)),
    Mutation("acquire/files/run_file.py", "> MOST_ROWS", "> 10**9", (LONG_TABLE,)),
    Mutation("acquire/files/table_import.py", "line.count(_separator(line)) >= MOST_CELLS", "False", (LONG_TABLE,)),
    Mutation("acquire/files/long_table.py", "leg.cycle % every :: every", "::every", (LONG_TABLE,)),
    Mutation("acquire/cell/port.py", '"logging=" in name', '"logging=" in ""', (STRANGERS,)),
    Mutation("versioned.py", "part[:60]", "part", (STRANGERS,)),
    Mutation("verbs/terminal/many.py", "except _GONE:", "except ZeroDivisionError:", (MANY,)),
    Mutation("verbs/terminal/many.py", "worker.process.kill()", "worker.process.is_alive()", (MANY,)),
    Mutation("__main__.py", "        _check_streams()\n", "", (STRANGERS,)),
    Mutation("safe_read.py", "| system.AT_ONCE", "", (READERS,)),
    Mutation("strict_json.py", "range(DEEPEST)", "range(10**9)", (DOCUMENT,)),
    Mutation("strict_json.py", "parse_constant=_no_constant", "parse_constant=float", (DOCUMENT,)),
    Mutation("strict_json.py", "if any(inf in some", "if False and any(inf in some", (DOCUMENT,)),
    Mutation("strict_json.py", "except RecursionError:", "except ZeroDivisionError:", (DOCUMENT,)),
    Mutation("strict_toml.py", "len(text) > LARGEST", "len(text) < 0", (READERS,)),
    Mutation("strict_toml.py", "except RecursionError:", "except ZeroDivisionError:", (READERS,)),
    Mutation("acquire/files/run_file.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (RUN_FILE,)),
    Mutation(
        "acquire/files/run_file.py",
        "len(line) > LONGEST_LINE",
        "len(line) < 0",
        (
            RUN_FILE,
            HOSTILE,
        ),
    ),
    Mutation(
        "unit_keys.py",
        "not abs(value) < LARGEST",
        "False",
        (
            "floor/test_unit_keys.py",
            RUN_FILE,
            HOSTILE,
        ),
    ),
    Mutation("acquire/files/series_file.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation("acquire/files/series_file.py", "<= MOST_READINGS:", "<= 10**9:", (BOUNDS,)),
    Mutation("acquire/files/check_table.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation("acquire/files/check_table.py", "len(lines) > MOST_ROWS", "len(lines) < 0", (BOUNDS,)),
    Mutation("acquire/files/check_table.py", "if abs(value) > (", "if abs(value) < -(", (BOUNDS,)),
    Mutation(
        "acquire/files/spreadsheet.py",
        "pictures > MOST_PICTURES or",
        "",
        (
            LONG_TABLE,
            LAYOUT,
        ),
    ),
    Mutation(
        "acquire/files/spreadsheet.py",
        "rest > (MOST_UNPACKED_ODS if is_ods else MOST_UNPACKED_XLSX)",
        "False",
        (
            LONG_TABLE,
            LAYOUT,
        ),
    ),
    Mutation("acquire/files/spreadsheet.py", "kept[-1][0] > MOST_ROWS", "False", (BOUNDS,)),
    Mutation("acquire/files/spreadsheet.py", "min(again, MOST_COLUMNS - len(out))", "again", (BOUNDS,)),
    Mutation("acquire/files/spreadsheet.py", "islice(rows, MOST_ROWS + 1)", "rows", (BOUNDS,)),
    Mutation(
        "acquire/files/spreadsheet.py",
        "except Exception as error:  # the",
        "except ZeroDivisionError as error:  # the",
        (
            LONG_TABLE,
            LAYOUT,
        ),
    ),
    Mutation(
        "acquire/files/typed.py", "if len(text) > 4 * LONGEST or len(text.strip()) > LONGEST", "if False", (TYPED,)
    ),
    Mutation("acquire/recording/typed_entry.py", "line[: 10 * LONGEST]).strip()[:LONGEST]", "line).strip()", (BOUNDS,)),
    Mutation("acquire/cell/line_grammar.py", "if value > LARGEST or value < -LARGEST:", "if False:", (CELL_LINES,)),
    Mutation("acquire/cell/lines.py", "elif len(self._pending) > LONGEST:", "elif False:", (CELL_LINES,)),
    Mutation("errors.py", "text if len(text) <= LONGEST else", "text if True else", (BOUNDS,)),
    Mutation("plate_set.py", "if not 1 <= len(names) <= MOST_PIECES", "if False", (BOUNDS,)),
    Mutation("profile/parts.py", "> LARGEST_FORCE or", "> 1e300 or", (BOUNDS,)),
    Mutation("profile/document.py", "abs(sum(map(mul, parts, parts)) - u * u) >", "0 * u >", (DOCUMENT,)),
    Mutation("profile/store/band_log.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation("profile/store/cards.py", "if len(found) > MOST_FILES or entries > MOST_ENTRIES", "if False", (BOUNDS,)),
    Mutation(
        "profile/store/cards.py",
        "    except BandcurveError as error:\n        found.problems",
        "    except ZeroDivisionError as error:\n        found.problems",
        (COLLECTION,),
    ),
    Mutation("use/lineup/lifters_table.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation("use/rig/lifters.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation("use/rig/plates.py", "if len(found) > MOST_LOADS", "if False", (SOLVE,)),
    Mutation("use/rig/rig_file.py", "max_length=MOST_BANDS", "max_length=10**9", (RIG,)),
    Mutation("use/rig/rig_file.py", "if len(data) > CAP_BYTES", "if len(data) < 0", (BOUNDS,)),
    Mutation(
        "use/rig/solve.py",
        "if count * slots > MOST_TEAMS",
        "if False",
        (
            SOLVE,
            SOLVE_COMMAND,
        ),
    ),
    Mutation("verbs/app.py", "    with guarded():\n", "    if True:\n", (DOOR,)),
    Mutation("verbs/door.py", "text = harmless(text)", "text = str(text)", (DOOR,)),
    Mutation("verbs/terminal/pager.py", "text = harmless(text)", "text = str(text)", (DOOR,)),
    Mutation("verbs/terminal/pager.py", "signal.SIGINT, _leave_it)", "signal.SIGINT, signal.SIG_IGN)", (DOOR,)),
    Mutation(
        "verbs/terminal/prompts.py",
        "prompt, begun = harmless(prompt), harmless(begun)",
        "prompt, begun = str(prompt), str(begun)",
        (DOOR,),
    ),
    Mutation(
        "verbs/demo.py", "with new_folder(folder):", "folder.mkdir(parents=True, exist_ok=True)\n    if True:", (DEMO,)
    ),
    Mutation(
        "file_lock.py",
        "lock.unlink()\n        os.close(descriptor)\n        return",
        "os.close(descriptor)\n        return",
        (
            WRITERS,
            STORE,
        ),
    ),
    Mutation(
        "system.py",
        "os.fsync(handle)",
        "pass",
        (
            WRITERS,
            SYSTEMS,
        ),
    ),
    Mutation("system.py", "    if WINDOWS:\n        return\n", "", (SYSTEMS,)),
    Mutation("system.py", "os.lseek(descriptor, 0, os.SEEK_SET)", "pass", (SYSTEMS,)),
    Mutation("verbs/terminal/keyboard.py", "except ImportError:", "except MemoryError:", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", "if pressed in _SPECIAL", "if False", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", "if pressed in _ENDS", "if False", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", 'if pressed == "\\x03"', "if False", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", "_drain(fd)  # an arrow", "pass  # an arrow", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", "termios.tcsetattr(fd, termios.TCSADRAIN, before)", "pass", (KEYBOARD,)),
    Mutation("verbs/terminal/keyboard.py", "if left <= 0", "if False", (KEYBOARD,)),
    Mutation("safe_write.py", "patiently(lambda: part.replace(target))", "part.replace(target)", (SYSTEMS,)),
    Mutation(
        "safe_write.py",
        "os.fsync(out.fileno())",
        "pass",
        (
            WRITERS,
            SYSTEMS,
        ),
    ),
    Mutation("web/access.py", 'if headers.get("host", "") not in self.door.hosts', "if False", (ACCESS,)),
    Mutation(
        "web/access.py",
        'if not _from_this_page(scope["method"]',
        'if False and not _from_this_page(scope["method"]',
        (ACCESS,),
    ),
    Mutation("web/access.py", 'if not _is_small(headers.get("content-length", "0"))', "if False", (ACCESS,)),
    Mutation("web/access.py", "length.isascii() and length.isdecimal()", "True", (ACCESS,)),
    Mutation("web/access.py", "len(length) < 10", "True", (ACCESS,)),
    Mutation("web/server.py", "len(self.connections) > MOST_CONNECTIONS", "False", ("web/test_server.py",)),
    Mutation("web/server.py", "min(idle, key", "max(idle, key", ("web/test_server.py",)),
    Mutation("web/server.py", "app, http=Connection, ", "app, ", ("web/test_server.py",)),
    Mutation("web/pages.py", "except ClientDisconnect:", "except MemoryError:", (ACCESS,)),
    Mutation("web/access.py", "if taken > LARGEST_BODY", "if False", (ACCESS,)),
    Mutation("web/access.py", "session is None or not self.door.knows(session)", "False", (ACCESS,)),
    Mutation("web/access.py", "if not self.door.sessions[session].take(self.door.clock())", "if False", (ACCESS,)),
    Mutation("web/access.py", "self.codes.discard(found)", "pass", (ACCESS,)),
    Mutation("web/access.py", "len(self.sessions) >= MOST_SESSIONS", "False", (ACCESS,)),
    Mutation("web/access.py", "headers.setdefault(name, value)", "pass", (ACCESS,)),
    Mutation("web/access.py", "httponly=True", "httponly=False", (ACCESS,)),
    Mutation(
        "web/pages.py",
        "autoescape=select_autoescape()",
        "autoescape=False",
        (
            WEB_ANSWERS,
            WEB_BANDS,
        ),
    ),
    Mutation(
        "web/pages.py",
        "max_num_fields=100",
        "max_num_fields=None",
        (
            ACCESS,
            WEB_ANSWERS,
        ),
    ),
    Mutation("web/rigs.py", "if not found.path.resolve().is_relative_to(site.folder)", "if False", (WEB_RIGS,)),
    Mutation("web/answers.py", 'if typed["table"] not in tables', "if False", (WEB_ANSWERS,)),
    Mutation("web/answers.py", "if len(found) > MOST_KINDS", "if False", (WEB_ANSWERS,)),
    Mutation(
        "web/bands.py", "if name not in {band.address for band in lookup.register().bands}", "if False", (WEB_BANDS,)
    ),
    Mutation("web/measuring.py", "if len(self.open) >= MOST_OPEN and idle", "if False", (WEB_MEASURING,)),
    Mutation(
        "use/report/first_kilos.py",
        "_pull_of(before) == 1 and _pull_of(after) == 2",
        "_pull_of(after) == 2",
        (FIRST_KILOS,),
    ),
    Mutation("use/report/first_kilos.py", 'after.head.extensions.get("quick")', "True", (FIRST_KILOS,)),
    Mutation(
        "use/report/layout.py",
        "if c.isspace() or not _hidden(c)",
        "if c",
        (
            STRANGERS,
            HOSTILE,
            DEMO,
        ),
    ),
)
