"""The pages and the API: who may come in, what may be asked, and what is answered."""

from conewright.web.app import create_app
from conewright.web.base.settings import Settings

__all__ = ["Settings", "create_app"]
