"""Weight and first use of the published page: run `python tests/benchmarks/page.py`.

Publishes the demo, serves it on loopback, and prints beside their limits: its bytes, and the time from the start of
navigation until the calculator has drawn its answer, over several fresh loads. `calculator.py` beside this file times
the redraws.
"""

from __future__ import annotations

import http.server
import statistics
import sys
import tempfile
import threading
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from calculator_page import chromium

from growth.giveaway import publish

LIMIT_BYTES, LIMIT_MS, LOADS = 150 * 1024, 500.0, 15
READY = """() => new Promise((done) => {
  const wait = () => (document.getElementById("calculator").calculator ? done(performance.now()) : setTimeout(wait, 1));
  wait();
})"""


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


def main() -> None:
    demo = Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml"
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        page = publish(demo, to=folder)
        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=folder))
        threading.Thread(target=server.serve_forever, daemon=True).start()
        address = f"http://127.0.0.1:{server.server_address[1]}/{page.name}"
        times = []
        for _ in range(LOADS + 1):
            context = browser.new_context(viewport={"width": 360, "height": 740})
            tab = context.new_page()
            tab.goto(address, wait_until="commit")
            tab.wait_for_selector("#calculator", state="attached")
            times.append(tab.evaluate(READY))
            context.close()
        server.shutdown()
        size = page.stat().st_size
    times = sorted(times[1:])
    print(f"weight: {size:,} bytes; limit {LIMIT_BYTES:,}; ratio {size / LIMIT_BYTES:.2f}")
    print(
        f"navigation to usable on loopback, {LOADS} fresh loads: median {statistics.median(times):.0f} ms, "
        f"slowest {times[-1]:.0f} ms; limit {LIMIT_MS:.0f} ms; ratio of the slowest {times[-1] / LIMIT_MS:.2f}"
    )


if __name__ == "__main__":
    main()
