"""A long attack on the command line, beside the short tests.

    python tests/long/attack.py --minutes 60
    python tests/long/attack.py --minutes 5 --only kill --seed 7

Each round takes the next kind of attack: mutated scenario, sweep, billing and ledger files; odd paths in every argument
of every command; crafted links to a published page; kills of every command that writes, and of an import that makes a
ledger; hostile text in every text field of the schema. A find is an
exception, a traceback, a hang, an exit code of no meaning, a terminal escape, a user's file changed, or a script that
a page was not meant to have. Each is printed with its seed and kept in --keep; make it a named test of the suite.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[at]) for at in range(3)]

from command_lines import EXAMPLES, READING, SUFFIXES, commands, make_inputs, words_of  # noqa: E402
from hostile import TEXTS, hostile_file, scripts_in  # noqa: E402
from mutated import mutated  # noqa: E402
from page_links import follow  # noqa: E402

from growth.cli import build_parser, main  # noqa: E402
from growth.errors import GrowthError  # noqa: E402
from growth.output import is_sealed  # noqa: E402

ROOT = Path(__file__).parents[2]
SCENARIOS = ROOT / "scenarios"
GROWTH = [sys.executable, "-m", "growth"]
CODES = (0, 1, 2, 130)
PATIENCE = 180  # seconds, of one command on a busy machine
ONE_SCENARIO = [line for line in READING.values() if line.count("IN/") == line.count("IN/fernhollow.yaml") > 0]
ONE_LEDGER = [line for line in READING.values() if "IN/ledger" in line]


class Found(Exception):
    """Something that should not be."""


def say(words: list[str]) -> tuple[int, str]:
    """Run a command within this process; its exit code and what it said. Raises Found."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        try:
            code = main(words)
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            raise Found(f"{words}: {traceback.format_exc()}") from None
    checked(words, code, out.getvalue())
    return code, out.getvalue()


def run(words: list[str], cwd: Path) -> int:
    """Run a command in a process of its own. Raises Found."""
    try:
        done = subprocess.run(
            [*GROWTH, *words], cwd=cwd, capture_output=True, timeout=PATIENCE, stdin=subprocess.DEVNULL
        )
    except subprocess.TimeoutExpired:
        raise Found(f"{words}: no end within {PATIENCE} seconds") from None
    except ValueError:  # a NUL, which the system takes in no argument
        return 2
    checked(words, done.returncode, (done.stdout + done.stderr).decode("utf-8", "replace"))
    return done.returncode


def checked(words: list[str], code: int, said: str) -> None:
    """Raise Found for an exit code of no meaning, a traceback, or what a terminal would obey."""
    if code not in CODES:
        raise Found(f"{words}: exit code {code}: {said[-2000:]}")
    if "Traceback" in said or "Exception ignored" in said:
        raise Found(f"{words}: {said[-4000:]}")
    if "\x1b" in said:
        raise Found(f"{words}: an escape in what is said: {said[:500]!r}")


def state(folder: Path) -> dict[str, bytes]:
    """The content of every regular file below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# --- the attacks ------------------------------------------------------------------------------------------------------


def scenario(rng: random.Random, place: Path) -> None:
    """A mutated scenario file: checked, and where it is valid everything that a file can become without a kernel."""
    source = rng.choice([path for path in SCENARIOS.glob("*.yaml") if not path.name.startswith(("my-", "sweep"))])
    path = place / "shop.yaml"
    path.write_text(mutated(source.read_text("utf-8"), rng), "utf-8", errors="surrogatepass")
    code, _ = say(["check", str(path)])
    if say(["forecast", str(path)])[0] and not code:  # it reads the numbers alone
        raise Found("check passes what forecast refuses")
    if say(["spreadsheet", str(path), "--to", str(place / "x.xlsx")])[0] != code:
        raise Found(f"check ends with {code}, and spreadsheet does not")
    for line in ONE_SCENARIO:
        if code == 0 and rng.random() < 0.3:
            say(line.replace("IN/fernhollow.yaml", str(path)).split())


def sweep(rng: random.Random, place: Path) -> None:
    """A mutated sweep file."""
    source = rng.choice(list(SCENARIOS.glob("sweep-*.yaml")))
    shutil.copy(SCENARIOS / "fernhollow.yaml", place)
    path = place / "sweep.yaml"
    path.write_text(mutated(source.read_text("utf-8"), rng), "utf-8", errors="surrogatepass")
    say(["check", str(path)])


def records(rng: random.Random, place: Path) -> None:
    """Mutated billing records, or the file that says what their columns are called."""
    rows = (SCENARIOS / "records" / "fernhollow-charges.csv").read_text("utf-8").split("\n")[: rng.randint(2, 800)]
    (place / "rows.csv").write_text(mutated("\n".join(rows), rng), "utf-8", errors="surrogatepass")
    columns = mutated((SCENARIOS / "records" / "other-names.yaml").read_text("utf-8"), rng)
    (place / "columns.yaml").write_text(columns, "utf-8", errors="surrogatepass")
    words = ["measure", str(place / "rows.csv"), "--to", str(place / "measured.yaml"), "--leave-out", "5"]
    code, _ = say(words + (["--columns", str(place / "columns.yaml")] if rng.random() < 0.3 else []))
    if code == 0 and say(["check", str(place / "measured.yaml")])[0]:
        raise Found("measure wrote a scenario that is not valid")


def ledger(rng: random.Random, place: Path) -> None:
    """Mutated files for the ledger: nothing is taken in by halves."""
    files = []
    for path in sorted((SCENARIOS / "earned").glob("*.csv")):
        text = path.read_text("utf-8")
        (place / path.name).write_text(
            mutated(text, rng) if rng.random() < 0.5 else text, "utf-8", errors="surrogatepass"
        )
        files.append(str(place / path.name))
    base = place / "ledger"
    code, _ = say(["earned", "import", str(base), *files])
    if code and base.exists():
        raise Found("an import that failed has left a ledger")
    if code == 0:
        for line in ONE_LEDGER:
            say(line.replace("IN/ledger", str(base)).split())


def paths(rng: random.Random, place: Path) -> None:
    """An odd path in the place of any argument of any command; the user's files stay as they are."""
    name, parser = rng.choice([one for one in commands(build_parser()) if one[0]])
    mine = place / "mine.yaml"
    shutil.copy(SCENARIOS / "fernhollow.yaml", mine)
    for suffix in ("csv", "html", "json", "xlsx", "ipynb", "parquet"):
        (place / f"mine.{suffix}").write_text("mine", "utf-8")
    (place / "loop").symlink_to("loop")
    (place / "link.yaml").symlink_to("mine.yaml")
    (place / "folder.yaml").mkdir()
    odd = ["", ".", "..", "-", "--", "~", "loop", "link.yaml", "folder.yaml", "mine.yaml", "mine.csv", "mine.json",
           "x" * 300,
           "mine.xlsx", "mine.ipynb", "mine.html", "nowhere/x.yaml", "s3://no/x", "file:///x", "http://[", "/dev/null",
           "/dev/full", "/proc/self/mem", "a\nb.yaml", "\x1b[31m.yaml", "{x}.ipynb", "é.csv", "\udcff.yaml", "x.yaml/y",
           ":memory:", "mine.yaml/", "./mine.yaml", "CON", "%s", "*.yaml"]  # fmt: skip
    before, words = state(place), name.split()
    for action in parser._actions:
        if action.dest in ("help", "replace", "again", "scheduler") or action.choices or isinstance(action.nargs, int):
            continue
        if action.nargs == 0 or action.type is not None:
            continue
        if not action.option_strings:
            words.append(rng.choice(odd))
        elif action.required or rng.random() < 0.4:
            words.append(f"{action.option_strings[0]}={rng.choice(odd)}")
    run(words, place)
    after = state(place)
    changed = [one for one in before if after.get(one) != before[one]]
    if changed:
        raise Found(f"{words}: changed {changed}")


def kill(rng: random.Random, place: Path) -> None:
    """A command that writes is ended at a random moment: what was there is whole, or whole anew; nothing of the user's
    is touched; and the next run does it.
    """
    here = place / "in"
    here.mkdir()
    with contextlib.redirect_stdout(io.StringIO()):
        make_inputs(here)
    name, line = rng.choice([*EXAMPLES.items(), (("sweep", "--to"), READING["sweep"]), (("", ""), NEW_LEDGER)])
    words = words_of(line, here, place / f"out{SUFFIXES.get(name, '')}")
    words += ["--replace"] if name in EXAMPLES else []
    began = time.monotonic()
    if run(words, place):
        raise Found(f"{words}: an example that fails")
    took, before, whole = time.monotonic() - began, inputs_in(here), state(place)
    if name not in EXAMPLES:  # what they wrote is no longer new
        for made in place.glob("out*"):
            shutil.rmtree(made) if made.is_dir() else made.unlink()
    process = subprocess.Popen([*GROWTH, *words], cwd=place, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    time.sleep(rng.uniform(0, took))
    process.send_signal(rng.choice([signal.SIGTERM, signal.SIGINT, signal.SIGKILL]))
    _, err = process.communicate(timeout=PATIENCE)
    if b"Traceback" in err and b"growth/" in err.replace(str(ROOT).encode(), b""):
        raise Found(f"{words}: {err[-3000:].decode('utf-8', 'replace')}")
    if inputs_in(here) != before:
        raise Found(f"{words}: an input has changed")
    for file, content in state(place).items() if name in EXAMPLES else ():
        its_own = not file.startswith("in/") and not Path(file).name.startswith(".")
        if its_own and content != whole.get(file) and not is_sealed(place / file):
            raise Found(f"{words}: half a file: {file}")
    if (again := run(words, place)) or inputs_in(here) != before:
        raise Found(f"{words}: run again, it ends with {again}")
    if left := [file for file in state(place) if ".growth-" in file]:
        raise Found(f"{words}: run again, it leaves {left}")
    if line == NEW_LEDGER and run(["earned", "report", str(place / "out")], place):
        raise Found("a ledger that cannot be read")


NEW_LEDGER = "earned import TO IN/earned/pieces.csv IN/earned/days.csv IN/earned/buyers.csv"


def inputs_in(folder: Path) -> dict[str, bytes]:
    """What a command reads, but for the ledger, beside which an open database keeps files."""
    return {name: content for name, content in state(folder).items() if not name.startswith("ledger")}


def links(rng: random.Random, place: Path) -> None:
    """A crafted link to a published page: no script runs, and it changes nothing or numbers alone, to valid ones."""
    if wrong := follow(rng):
        raise Found(wrong)


def hostile(rng: random.Random, place: Path) -> None:
    """Hostile text in every text field that the schema has, published: no script but the page's own."""
    path = place / "shop.yaml"
    path.write_text(hostile_file(rng.choice(TEXTS)), "utf-8")
    if say(["check", str(path)])[0]:
        return
    to = place / "out"
    if run(["kit", str(path), "--to", str(to)], place):
        raise Found("check passes what kit refuses")
    for page in to.glob("*.html"):
        if wrong := scripts_in(page.read_text("utf-8")):
            raise Found(f"{page.name}: {wrong}")


ATTACKS: dict[str, tuple[int, Callable[[random.Random, Path], None]]] = {  # rounds in a turn, attack
    "scenario": (40, scenario),
    "sweep": (20, sweep),
    "records": (15, records),
    "ledger": (8, ledger),
    "paths": (6, paths),
    "links": (30, links),
    "kill": (2, kill),
    "hostile": (1, hostile),
}


def attack() -> int:
    """Attack until the time is over; 1 where there was a find."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seed", type=int, default=None, help="of the first round; random without it")
    parser.add_argument("--only", choices=ATTACKS)
    parser.add_argument("--keep", type=Path, default=None, help="a folder for what a find was made with")
    arguments = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in a shell's background, and by what we start
    seed = random.randrange(10**6) if arguments.seed is None else arguments.seed
    end, done, finds = time.monotonic() + 60 * arguments.minutes, Counter[str](), 0
    turn = [name for name, (rounds, _) in ATTACKS.items() for _ in range(rounds) if arguments.only in (None, name)]
    print(f"seed {seed}", flush=True)
    while time.monotonic() < end:
        name = turn[sum(done.values()) % len(turn)]
        with tempfile.TemporaryDirectory(prefix="growth-attack-") as folder:
            try:
                ATTACKS[name][1](random.Random(seed), Path(folder))
            except (Found, GrowthError, OSError, ValueError) as found:
                finds += 1
                print(f"FOUND --only {name} --seed {seed}: {found}", flush=True)
                if arguments.keep:
                    shutil.copytree(folder, arguments.keep / f"{name}-{seed}", symlinks=True, dirs_exist_ok=True)
        done[name] += 1
        seed += 1
    print(", ".join(f"{count:,} {name}" for name, count in done.items()), f"rounds, {finds} finds")
    return 1 if finds else 0


if __name__ == "__main__":
    sys.exit(attack())
