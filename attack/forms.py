"""The forms of a page, as a browser would send them."""

from html.parser import HTMLParser

__all__ = ["Forms"]


class Forms(HTMLParser):
    """The forms of a page that send something: where to, and what stands in their fields."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            action = given.get("action") if given.get("method") == "post" else None
            self.found.append((action or "", {}))
        elif tag in ("input", "select", "textarea", "button") and self.found and given.get("name"):
            self.found[-1][1].setdefault(str(given["name"]), given.get("value") or "")
