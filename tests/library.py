"""The shipped scenario files: those in scenarios/ with a `scenario` part (sweep files stand there too)."""

from pathlib import Path

SCENARIOS = Path(__file__).parents[1] / "scenarios"
LIBRARY = [
    path
    for path in sorted(SCENARIOS.glob("*.yaml"))
    if "\nscenario:" in f"\n{path.read_text('utf-8')}" and not path.name.startswith("my-")  # what a reader keeps there
]
