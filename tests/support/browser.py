"""A real browser that notices what must not happen: errors, requests elsewhere, overflow, barriers."""

from __future__ import annotations

import importlib.util
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from support.needs import missing

_QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
_BARRIERS = """async (known, all) => {
  const old = new Set(known), fresh = new Map(), given = ["id", "class", "role", "type", "style", "disabled", "open",
    "aria-invalid", "aria-pressed", "aria-current"];
  for (const one of document.body.querySelectorAll("*")) {
    const hasText = [...one.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
    if (!(hasText || one.matches("input, select, textarea, button")) || !one.checkVisibility()) continue;
    let place = "";
    for (let at = one; at; at = at.parentElement)
      place += "/" + at.localName + given.map((name) => at.getAttribute(name) ?? "-").join();
    if (!old.has(place) && !fresh.has(place)) fresh.set(place, one);
  }
  const options = {resultTypes: ["violations"], preload: false};  // no rule in use asks for style sheets
  const runs = [];
  if (fresh.size)
    runs.push(await axe.run({include: [...fresh.values()]}, {...options, runOnly: ["color-contrast"]}));
  if (all) runs.push(await axe.run(document, {...options, rules: {"color-contrast": {enabled: false}}}));
  const problems = runs.flatMap((run) => run.violations);
  return {
    places: [...fresh.keys()],
    problems: problems.map((one) => [one.id, ...one.nodes.map((node) => node.html.slice(0, 200))]),
  };
}"""
_LOCAL = ("localhost", "127.0.0.1", "lan.test", "evil.test")


def _axe() -> str:
    found = importlib.util.find_spec("axe_playwright_python")
    if found is None or not found.submodule_search_locations:
        missing("axe-playwright-python")
    return (Path(found.submodule_search_locations[0]) / "axe.min.js").read_text("utf-8")


class Browsing:
    """Pages of one browser, watched."""

    def __init__(self, browser: Any, kind: Any, program: str) -> None:
        self.browser, self.kind, self.program = browser, kind, program
        self.axe, self.noise = _axe(), []
        self.looked_at: set[str] = set()
        """Places of text, by what style sheets go by, whose contrast is known to be enough."""

    @contextmanager
    def another(self, *options: str, home: Path | None = None) -> Iterator[Browsing]:
        """Start another browser with options of its own, and with what it trusts kept in a home of its own."""
        env = {**os.environ, **({"HOME": str(home)} if home else {})}
        browser = self.kind.launch(executable_path=self.program, args=[*_QUIET, *options], env=env)
        yield Browsing(browser, self.kind, self.program)
        browser.close()

    def page(self, size: dict[str, int], **more: Any) -> Any:
        """Return a page of a person of its own."""
        context = self.browser.new_context(viewport=size, locale="en-US", reduced_motion="reduce", **more)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("console", lambda message: self.noise.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.noise.append(str(error)))
        page.on("request", self._watch)
        return page

    def _watch(self, request: Any) -> None:
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https") and parts.hostname not in _LOCAL:
            self.noise.append(f"request leaves the machine: {parts.hostname}")

    def check(self, page: Any) -> None:
        """Check a page for barriers with axe-core, its colours at night too, and for overflow.

        Contrast, most of the work, is looked at where text stands in a place of the page that no page before had.
        """
        page.wait_for_load_state()  # until the style sheet is there, every colour is the browser's own
        places = []
        for scheme in ("dark", "light"):
            page.emulate_media(color_scheme=scheme)
            call = f"async ([known, all]) => {{ if (!window.axe) {{ {self.axe} }} return ({_BARRIERS})(known, all) }}"
            found = asked(page, call, [sorted(self.looked_at), scheme == "light"])
            assert found["problems"] == [], f"{page.url}, {scheme}: {found['problems']}"
            places.append(set(found["places"]))
        self.looked_at |= set.intersection(*places)
        self.check_width(page)

    def check_width(self, page: Any) -> None:
        """Check that nothing sticks out to the right, with letters of twice the size too (WCAG 2.2, 1.4.4)."""
        wide = "root.scrollWidth - root.clientWidth"
        large = (
            f"(() => {{ root.style.fontSize = '200%'; const over = {wide}; root.style.fontSize = ''; return over }})()"
        )
        size = page.viewport_size
        for width in (size["width"], 320) if size["width"] < 500 else (size["width"],):  # 320: the smallest phone
            page.set_viewport_size({**size, "width": width})
            over = asked(page, f"((root) => [{wide}, {large}])(document.documentElement)")
            page.set_viewport_size(size)
            assert max(over) <= 0, f"{page.url} at {width} is {over} pixels too wide, as it is and in large letters"

    def close_pages(self) -> None:
        """Send everybody home: a page that is left open goes on asking and drawing."""
        for context in self.browser.contexts:
            context.close()

    def forget_noise(self) -> None:
        """Forget errors that a test brought about itself."""
        self.noise.clear()

    def check_quiet(self) -> None:
        """Check that no script failed, no policy was broken and no request left the machine."""
        assert self.noise == []


def asked(page: Any, expression: str, given: Any = None) -> Any:
    """Return the value of a JavaScript expression, or of a function of what is given.

    A page that loads itself again meanwhile is asked anew.
    """
    from playwright.sync_api import Error

    for _ in range(20):
        try:
            return page.evaluate(expression, given)
        except Error as error:
            if "context was destroyed" not in str(error):
                raise
            page.wait_for_timeout(200)
    raise AssertionError(f"{page.url} loads itself again and again")


def until(page: Any, expression: str, seconds: float = 30) -> None:
    """Wait until a JavaScript expression is true; the browser's own waiting needs eval, which our policy forbids."""
    end = time.monotonic() + seconds
    while not page.evaluate(f"async () => Boolean(await ({expression}))"):
        assert time.monotonic() < end, f"{expression} never came true on {page.url}"
        page.wait_for_timeout(100)


@contextmanager
def open_browsing() -> Iterator[Browsing]:
    """Start the browser of the system, the one without windows where it is there, which takes half the time."""
    program = os.environ.get("CHROMIUM") or shutil.which("chromium-headless-shell") or shutil.which("chromium")
    if program is None or not Path(program).exists():
        missing("Chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=[*_QUIET])
        yield Browsing(browser, playwright.chromium, program)
        browser.close()
