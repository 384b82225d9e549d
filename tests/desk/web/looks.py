"""What can be wrong with how a screen looks, told by the browser itself."""

from __future__ import annotations

import warnings
from typing import Any

CUT_OFF = """
() => [...document.querySelectorAll("main *, header *, footer *, dialog *, .demo")]
  .filter((e) => !e.closest(".scroll, .zoom, .skip, label.file > *") && !e.closest("svg *"))
  .filter((e) => {
    const box = e.getBoundingClientRect();
    const style = getComputedStyle(e);
    const inside = e.tagName !== "INPUT" && style.overflowX !== "visible";
    const hidden = inside && e.scrollWidth > e.clientWidth + 1;
    return box.width && (box.right > innerWidth + 1 || box.left < -1 || hidden);
  })
  .map((e) => e.outerHTML.slice(0, 120))
"""

SPILT = """
() => [...document.querySelectorAll("button, a.button, label.file, .card, .box")]
  .filter((e) => e.scrollHeight > e.clientHeight + 1)
  .map((e) => `${e.scrollHeight - e.clientHeight} px spilt: ${e.outerHTML.slice(0, 100)}`)
"""

SMALL = """
() => [...document.querySelectorAll("button, a, input, select, summary, textarea")]
  .filter((e) => !e.closest(".skip, p, li:not(.card) > :not(.line), svg") && e.offsetParent)
  .map((e) => [e.getBoundingClientRect(), e.outerHTML.slice(0, 100)])
  .filter(([box]) => box.width && Math.min(box.width, box.height) < 44)
  .map(([box, words]) => `${Math.round(box.width)}x${Math.round(box.height)} ${words}`)
"""


def serious(page: Any) -> list[str]:
    """What axe-core finds serious or worse."""
    from axe_playwright_python.sync_playwright import Axe

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = Axe().run(page)
    return [
        f"{found['id']}: {found['nodes'][0]['html'][:120]}"
        for found in result.response["violations"]
        if found["impact"] in ("serious", "critical")
    ]


def too_wide(page: Any) -> list[str]:
    """What makes the page scroll sideways, is cut off at its edge, or spills out of its box."""
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    return [
        *([f"{wide} px too wide"] if wide > 0 else []),
        *page.evaluate(CUT_OFF),
        *page.evaluate(SPILT),
    ]


def small_targets(page: Any) -> list[str]:
    """Buttons and the like (not links in a sentence) that a thumb would miss: under 44 px."""
    return page.evaluate(SMALL)
