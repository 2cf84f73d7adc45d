"""The page for a frame within a blog: it tells the page around it how tall it is, and nothing else to anybody."""

from __future__ import annotations

import base64
import hashlib
import json
from html import escape

from growth.errors import PublishError
from growth.giveaway.brief import Giveaway
from growth.output import SEAL

FIRST_HEIGHT = 1400  # pixels, until the page has told its height, and where scripts are off

_TELLS = """
{
  const height = () => Math.ceil(document.body.getBoundingClientRect().height);
  const tell = () => parent.postMessage({ growthPiece: NAME, height: height() }, "*");
  new ResizeObserver(tell).observe(document.body);
  addEventListener("load", tell);
}
"""

_LISTENS = """addEventListener("message", (event) => {
  const frame = document.getElementById(ID);
  if (!frame || event.source !== frame.contentWindow || event.data?.growthPiece !== NAME) return;
  const height = Number(event.data.height);
  if (height > 0 && height < 20000) frame.style.height = `${Math.ceil(height)}px`;
});"""


def embed_page(page: str, giveaway: Giveaway) -> str:
    """The published page with the few lines that tell its height; its content policy allows them by their hash.

    The form opens its answer in a new tab, since most list services may not be framed.
    """
    code = _TELLS.replace("NAME", json.dumps(giveaway.name))
    digest = base64.b64encode(hashlib.sha256(code.encode("utf-8")).digest()).decode()
    before = "script-src &#39;sha256-"
    if page.count(before) != 1 or "</body>" not in page:
        raise PublishError(
            "the page's content policy is not the one that publishing writes, so no version for a frame can be made"
        )
    page = page.replace(before, f"script-src &#39;sha256-{digest}&#39; &#39;sha256-")
    page = page.replace('<form method="post"', '<form target="_blank" method="post"', 1)
    head, _, tail = page.rpartition("</body>")
    return f"{head}<script>{code}</script>\n</body>{tail}"


def snippet(giveaway: Giveaway) -> str:
    """What goes into the blog: the frame, and the lines that let it grow and shrink with its page."""
    source = giveaway.address.split("?")[0].rpartition("/")[0] if giveaway.address else "https://YOUR-SITE"
    name = f"growth-{giveaway.name}"
    listens = _LISTENS.replace("ID", json.dumps(name)).replace("NAME", json.dumps(giveaway.name))
    return f"""<!-- {giveaway.name}: a calculator in a frame. {SEAL}
     1. Put {giveaway.name}-embed.html on your site and correct the address in src below.
     2. Paste everything below into the post.
     The frame gets a store of its own and no cookies of your site (sandbox), sends no address of the post along
     (referrerpolicy), loads nothing else and reports nothing but its own height to this page. Where scripts are off
     it keeps the height of {FIRST_HEIGHT} pixels and scrolls. -->
<iframe id="{name}" src="{escape(source)}/{giveaway.name}-embed.html"
  title="{escape(" ".join(giveaway.question.split()))}"
  style="width: 100%; height: {FIRST_HEIGHT}px; border: 0" loading="lazy" referrerpolicy="no-referrer"
  sandbox="allow-scripts allow-forms allow-popups allow-popups-to-escape-sandbox"></iframe>
<script>
{listens}
</script>
"""
