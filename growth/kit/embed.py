"""The calculator for a frame within a blog: its question, its answer and its charts, without the rest of the page."""

from __future__ import annotations

from html import escape

from growth.calculator.language import messages
from growth.errors import PublishError
from growth.giveaway.brief import Giveaway
from growth.output import SEAL

_CALCULATOR = '<section id="calculator"'  # it holds no other section


def embed_page(page: str, giveaway: Giveaway) -> str:
    """The published page cut down to its question and its calculator, with a caution and the way to the whole page.

    Its script, its stylesheet and its content policy are the page's own. The answer stays in view while the reader
    scrolls within the frame. Raises PublishError where `page` is not one that publishing wrote.
    """
    head, main, _ = page.partition("<main>")
    title = page[page.find("<header>") : page.find("</header>") + len("</header>")]
    start, foot = page.find(_CALCULATOR), page.rfind("</main>")
    end = page.find("</section>", start) + len("</section>")
    if not main or start < 0 or not title.startswith("<header>") or foot < end:
        raise PublishError("this is no page that publishing wrote, so no version for a frame can be made")
    words = messages(giveaway.locale)["kit"]
    more = ""
    if giveaway.address:
        address = escape(giveaway.address)
        more = f' <a href="{address}" target="_blank" rel="noopener">{escape(words["embed_whole"], quote=False)}</a>'
    caution = f"<footer><p>{escape(words['email_caution'], quote=False)}{more}</p></footer>"
    return f'{head}<main class="embedded">\n{title}\n{page[start:end]}\n{caution}\n{page[foot:]}'


def snippet(giveaway: Giveaway) -> str:
    """What to paste into the blog: the frame, at most about a screen high."""
    source = giveaway.address.split("?")[0].rpartition("/")[0] if giveaway.address else "https://YOUR-SITE"
    return f"""<!-- {giveaway.name}: a calculator in a frame. {SEAL}
     1. Put {giveaway.name}-embed.html on your site and correct the address in src below.
     2. Paste everything below into the post.
     The frame gets a store of its own and no cookies of your site (sandbox), sends no address of the post along
     (referrerpolicy), loads nothing else and reports nothing to anybody. It scrolls by itself; its answer stays in
     view. Readers can save the table and the picture of their answer, and copy a link with their numbers. -->
<iframe src="{escape(source)}/{giveaway.name}-embed.html"
  title="{escape(" ".join(giveaway.question.split()))}"
  style="width: 100%; height: 46rem; max-height: 90vh; border: 1px solid #ddd3c1" loading="lazy"
  referrerpolicy="no-referrer" allow="clipboard-write"
  sandbox="allow-scripts allow-downloads allow-popups allow-popups-to-escape-sandbox"></iframe>
"""
