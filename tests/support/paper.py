"""What a page looks like on paper: the browser's own print events and media, without a printer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

#: Room between the margins of an A4 sheet [CSS px].
SHEET = (703, 1032)


@contextmanager
def printed(page) -> Iterator:
    """Have a page laid out as on paper, then as on the screen again."""
    before = page.viewport_size
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": SHEET[0], "height": SHEET[1]})
    yield page
    page.set_viewport_size(before)
    page.emulate_media(media="screen")
    page.evaluate("dispatchEvent(new Event('afterprint'))")


def faults_on_paper(page) -> list:
    """Return what is wrong with a page that is laid out as on paper: controls, dark ground, cuts."""
    return page.evaluate(
        """([width]) => {
        const seen = (one) => one.checkVisibility({ visibilityProperty: true })
          && one.getClientRects().length > 0;
        const named = (one) => one.outerHTML.slice(0, 120);
        const pressed = 'button, .button, nav, progress, .leaflet-control'
          + ', input[type=range], input[type=file]';
        const style = getComputedStyle(document.body);
        const isText = (one) => one.closest('th') && getComputedStyle(one).borderStyle === 'none';
        const wrong = [...document.querySelectorAll(pressed)]
          .filter((one) => seen(one) && !isText(one)).map(named);
        if (style.backgroundColor !== 'rgb(255, 255, 255)') wrong.push(style.backgroundColor);
        const ink = style.color.match(/[\\d.]+/g).slice(0, 3).map(Number);
        if (Math.max(...ink) > 90) wrong.push(style.color);
        const wide = document.documentElement.scrollWidth;
        if (wide > width) wrong.push(wide);
        for (const map of document.querySelectorAll('#map, .map')) {
          const box = map.getBoundingClientRect();
          const deck = map.querySelector('.deck-outline')?.getBoundingClientRect();
          if (box.right > width + 1) wrong.push(named(map));
          if (deck && (deck.left < box.left - 1 || deck.right > box.right + 1)) wrong.push(named(map));
        }
        return wrong; }""",
        [SHEET[0]],
    )


def sheets(page) -> int:
    """Return how many sheets a page is printed on."""
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True)))
