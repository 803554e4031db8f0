"""Screenshots of every page, on a phone and at a desk, light and dark: to be looked at."""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

from browser.browsing import DESKTOP, PHONE, Look, browsing, chromium, site, watched
from browser.places import places

LOOKS: dict[str, Look] = {
    "phone": {"viewport": PHONE, "has_touch": True, "is_mobile": True},
    "desktop": {"viewport": DESKTOP},
}
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
DRAWN = """
() => {
    // A bar that sticks to the end of the window would stand in the midst of the whole page.
    document.querySelectorAll(".sticky").forEach((each) => { each.style.position = "static"; });
    // What is folded away is never loaded: to wait for it would take for ever.
    const seen = [...document.images].filter((each) => each.checkVisibility());
    seen.forEach((each) => { each.loading = "eager"; });
    return Promise.all(seen.map((each) => each.decode().catch(() => {})));
}
"""


def main(folder: Path) -> None:
    """Write a picture of each page in each look into a folder."""
    program = chromium()
    if program is None:
        sys.exit("make screens: there is no chromium; on Debian: apt-get install chromium")
    folder.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as kept, site(Path(kept)) as place, browsing(program) as browser:
        for size, look in LOOKS.items():
            with watched(browser, place.origin, look) as context:
                page = context.new_page()
                for where in places(place):
                    where.show(page)
                    for scheme in SCHEMES:
                        page.emulate_media(color_scheme=scheme)
                        page.evaluate(DRAWN)
                        name = f"{where.name}-{size}-{scheme}.png"
                        page.screenshot(path=folder / name, full_page=True)
                    page.emulate_media(color_scheme="light")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
