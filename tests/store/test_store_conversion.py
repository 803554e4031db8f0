"""Jobs in JSON go in and come out without loss of a value."""

import json
import tomllib

import pytest

from conewright import BadInputError, JobError, demo_text, loads
from conewright.job.text import conversion
from conewright.job.text.conversion import json_from_toml, toml_from_json
from conewright.store import Store

DEMO_JSON = json.dumps(tomllib.loads(demo_text()), default=str)


def test_json_becomes_toml_that_reads_as_the_same_job_and_back(store: Store) -> None:
    written = toml_from_json("\ufeff" + DEMO_JSON)
    assert loads(written) == loads(demo_text())
    saved = store.create(written, who="Ann")
    assert json.loads(json_from_toml(saved.text)) == json.loads(DEMO_JSON)


def test_what_is_left_empty_in_json_is_left_out() -> None:
    tables = json.loads(DEMO_JSON)
    tables["job"]["notes"] = None
    tables["driver"][0]["frame"] = {"depth": None}
    written = toml_from_json(json.dumps(tables))
    assert "notes" not in tomllib.loads(written)["job"]
    assert loads(written) == loads(json.dumps(tables), "json")


def test_an_empty_field_that_overrides_a_copied_one_is_refused() -> None:
    # The right door has no ring known, although it is like the left one, which has.
    tables = json.loads(DEMO_JSON)
    tables["location"][1]["mount"] = {"ring": None}
    assert loads(json.dumps(tables), "json").location("door-fr").mount.ring is None
    with pytest.raises(BadInputError, match=r"no equal in TOML; save it as a \.toml job file"):
        toml_from_json(json.dumps(tables))


def test_json_that_is_no_job_is_refused_with_its_problems() -> None:
    with pytest.raises(JobError, match="head_unit"):
        toml_from_json('{"format": 1}')
    with pytest.raises(JobError, match="line 1, column 2"):
        toml_from_json("{,}")


def test_days_and_numbers_keep_their_form() -> None:
    found = json.loads(json_from_toml(demo_text()))
    assert found["job"]["opened"] == "2026-03-02"
    assert found["job"]["budget"] == 180
    assert conversion.json_from_toml(demo_text()).endswith("}\n")
