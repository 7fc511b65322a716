"""What the matrix says about the state of a record is what the doors keep."""

from __future__ import annotations

from api.permissions import permissions
from domain.rules.permissions import Condition, Grant, Role
from tests.permissions.doors import REQUESTS
from tests.permissions.world import GOERS

MATRIX = permissions().matrix
OF_KEPT = sorted(name for name, row in MATRIX.actions.items() if Condition.KEPT in row.states and row.two_person is None)
OF_ASKED = {name for name, row in MATRIX.actions.items() if Condition.ASKED in row.states}

OF_TRANSFER = ("transfer_animal", "transfer_paper", "transfer_report", "arrived_transfer")
VERSIONS = {"change_animal": '"3"'}
"""Versions of records that changed more than once by the time at which they ended: an animal whose placement was withdrawn before."""


def refused(answer):
    return (answer.status_code, answer.json()["code"])


def test_what_has_ended_is_not_changed(world):
    program, administrator = world.key(), world.person(Grant(Role.ADMINISTRATOR))
    names = world.there
    otherwise = {"end_site", "end_session", "end_calendar_feed", "end_hold"}
    ends = [name for name in REQUESTS if name.startswith("end_") and name not in otherwise]
    of_item = ["end_hour_reading", "end_output_reading", "end_check", "end_equipment"]
    of_animal = ["end_mark", "end_measurement", "end_parent", "end_holding", "end_call_name", "end_placement", "end_animal_event"]
    order = [*of_item, *of_animal, "end_spare", "end_animal", "end_enclosure", "end_life_support_system", *ends]
    for other in ("group", "joiner", "loner", *GOERS):
        assert administrator.post(f"/v1/animals/{names[other]}/end", {"reason": "sold"}).status_code == 200
    for name in dict.fromkeys(order):
        answer = REQUESTS[name].sent_by(administrator, names)
        assert (name, answer.status_code) in {(name, 200), ("end_taxon", 409)}, answer.text
    asked = administrator.post("/v1/approvals", {"action": "end_hold", "subject_id": names["hold"], "why": "the inquiry is over"})
    REQUESTS["give_approval"].sent_by(world.person(Grant(Role.REGISTRAR)), {"approval": asked.json()["id"]})
    assert REQUESTS["end_hold"].sent_by(administrator, names).status_code == 200
    for one in (world.here, names):
        for animal in ("animal", "group", "joiner", "loner", *GOERS):
            program.post(f"/v1/animals/{one[animal]}/end", {"reason": "sold"})
    assert program.post(f"/v1/enclosures/{names['other_enclosure']}/end", {"reason": "sold"}).status_code == 200
    assert REQUESTS["end_taxon"].sent_by(program, names).status_code == 200
    assert REQUESTS["end_site"].sent_by(program, names).status_code == 200

    names |= dict.fromkeys((one for one in names if "transfer" in one and one not in OF_TRANSFER), names["transfer"])
    for name in OF_KEPT:
        request = REQUESTS[name]
        answer = request.sent_by(program, names, **({"If-Match": VERSIONS.get(name, '"2"')} if request.method == "PATCH" else {}))
        assert (name, *refused(answer)) == (name, 409, "ended")
    assert len(OF_KEPT) > 25


def test_what_was_given_is_not_given_again(world):
    one, other = world.person(Grant(Role.ADMINISTRATOR)), world.person(Grant(Role.ADMINISTRATOR))

    assert sorted(OF_ASKED) == ["give_approval"]
    assert REQUESTS["give_approval"].sent_by(one, world.here).status_code == 200
    assert refused(REQUESTS["give_approval"].sent_by(other, world.here)) == (409, "given")
