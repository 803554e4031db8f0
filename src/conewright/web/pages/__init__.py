"""The pages: one router for each group of them."""

from fastapi import APIRouter

from conewright.web.pages.choose import router as choose
from conewright.web.pages.dialogue import router as dialogue
from conewright.web.pages.findings import router as findings
from conewright.web.pages.history import router as history
from conewright.web.pages.job import router as job
from conewright.web.pages.jobs import router as jobs
from conewright.web.pages.make import router as make
from conewright.web.pages.part import router as part
from conewright.web.pages.proposals import router as proposals
from conewright.web.pages.sounds import router as sounds
from conewright.web.pages.stage import router as stage
from conewright.web.pages.text import router as text

__all__ = ["routers"]

routers: tuple[APIRouter, ...] = (
    jobs,
    history,
    part,
    proposals,
    job,
    dialogue,
    findings,
    sounds,
    choose,
    make,
    text,
    stage,
)
"""In this order: an address with a word of its own comes before one that takes any word."""
