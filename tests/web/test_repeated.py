"""Every field of every form with one thing again and again in it: said or saved, never a fault."""

import pytest
from attack.forms import Forms
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from conewright.job.text.starter import demo_text
from conewright.store import Store
from conewright.web.frame.page import MOST_FIELDS

ORIGIN = {"origin": "http://127.0.0.1:8420"}
PAGES = (
    "/jobs/new",
    "/jobs/upload",
    "/jobs/{id}",
    "/jobs/{id}/text",
    "/jobs/{id}/history",
    "/jobs/{id}/find",
    "/jobs/{id}/part/job",
    "/jobs/{id}/part/head_unit",
    "/jobs/{id}/part/door-fl",
    "/jobs/{id}/part/old-100",
    "/jobs/{id}/part/front-left",
    "/jobs/{id}/proposals/new",
)
PIECES = (
    *'*?9f(- \n.,"=[½±x;@|+\u0661',
    *("*a", "a ", "1..", "#\n", '"=".', "[[reading]]\n"),
)


@pytest.fixture
def fields(client: TestClient, store: Store) -> list[tuple[str, str]]:
    """Return every field that can be sent: its form's address with {id} in it, and its name."""
    client.headers.update(ORIGIN)
    job_id = store.create(demo_text(), who="Ann").job_id
    found = []
    for address in PAGES:
        page = client.get(address.format(id=job_id))
        assert page.status_code == 200 or address == "/jobs/upload", address
        for action, names in Forms(page.text).found:
            found += [(action.replace(job_id, "{id}"), name) for name in names if action]
    return list(dict.fromkeys(found))


def test_no_field_is_a_fault_whatever_is_repeated_in_it(
    client: TestClient, store: Store, fields: list[tuple[str, str]]
) -> None:
    assert {("/jobs/{id}/text", "text"), ("/jobs/upload", "text")} <= set(fields)
    assert len(fields) > 60

    @settings(
        max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None
    )
    @given(
        st.sampled_from(fields), st.sampled_from(PIECES), st.sampled_from([1, 60, 3000, 200_000])
    )
    def send(field: tuple[str, str], piece: str, times: int) -> None:
        action, name = field
        job_id = store.create(demo_text(), who="Ann").job_id
        sent = client.post(
            action.format(id=job_id), data={"base": "1", name: (piece * times)[:900_000]}
        )
        assert sent.status_code < 500, (field, piece, times)

    send()


@pytest.mark.parametrize("piece", ["*", "*a", "?*", "a*?"])
def test_a_pattern_of_many_stars_in_a_proposal_is_answered(
    client: TestClient, store: Store, piece: str
) -> None:
    client.headers.update(ORIGIN)
    job_id = store.create(demo_text(), who="Ann").job_id
    rows = {f"what:{n}": f"{piece * (60 + n % 9)}{n:x}!.name" for n in range(60)}
    values = {f"value:{n}": "x" for n in range(60)}
    assert len(rows | values) < MOST_FIELDS
    sent = client.post(
        f"/jobs/{job_id}/proposals/new", data={"action": "save", "id": "q", **rows, **values}
    )
    assert sent.status_code in (200, 422)
    assert "no part has such an id" in sent.text
