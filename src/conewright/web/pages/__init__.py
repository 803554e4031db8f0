"""The pages: one module and one router for each group of them."""

from __future__ import annotations

from fastapi import APIRouter

__all__ = ["routers"]

routers: tuple[APIRouter, ...] = ()
