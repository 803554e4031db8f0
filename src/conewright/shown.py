"""How things are shown: the rooms above say it here, so that nothing below imports a view."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, TypeVar

__all__ = ["Form", "Shown", "shown", "view_of"]

Form = Literal["text", "html", "drawing"]
View = TypeVar("View", bound=Callable[..., Any])

_VIEWS: dict[tuple[type, Form], Callable[..., Any]] = {}


def view_of(kind: type, form: Form) -> Callable[[View], View]:
    """Mark the function that shows things of a kind; it takes the thing alone."""

    def mark(view: View) -> View:
        _VIEWS[kind, form] = view
        return view

    return mark


def shown(thing: object, form: Form) -> Any:
    """Return a thing in one of its forms; None where no such view of it has been imported.

    A thing of a kind that has no view of its own is shown as what it is besides.
    """
    views = (_VIEWS.get((kind, form)) for kind in type(thing).__mro__)
    view = next(filter(None, views), None)
    return None if view is None else view(thing)


class Shown:
    """Something that is read as text, and in a notebook."""

    __slots__ = ()

    def __str__(self) -> str:
        """Return it as plain text for reading, 80 columns wide."""
        text: str | None = shown(self, "text")
        return repr(self) if text is None else text

    def _repr_html_(self) -> str | None:
        """Return the same for a notebook."""
        page: str | None = shown(self, "html")
        return page
