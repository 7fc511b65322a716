"""A system shows what hangs on it."""

from __future__ import annotations

from tests import makers


def test_a_system_shows_its_enclosures_and_media_lots_and_nothing_else(store, client):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        system = makers.system(unit, site)
        pool = makers.enclosure(unit, site, life_support_system_id=str(system.id))
        makers.enclosure(unit, site, name="apart")
        media, pump = makers.model(unit, kind="biological-media"), makers.model(unit, name="Pump", kind="circulation-pump")
        lots = [makers.equipment(unit, media, site, tag=f"L-{n}", life_support_system_id=str(system.id)) for n in range(2)]
        makers.equipment(unit, pump, site, tag="P-1", life_support_system_id=str(system.id))
        makers.equipment(unit, media, site, tag="L-9")

    client.post(f"/v1/equipment/{lots[1].id}/end", {"reason": "washed out"})
    found = client.get(f"/v1/life-support-systems/{system.id}").json()

    assert found["enclosure_ids"] == [str(pool.id)]
    assert found["media_lot_ids"] == [str(lots[0].id)]


def test_a_system_is_sent_again_even_to_who_has_its_version(store, client):
    with store.transaction(makers.origin()) as unit:
        system = makers.system(unit, makers.site(unit))

    answer = client.get(f"/v1/life-support-systems/{system.id}", headers={"If-None-Match": '"1"'})

    assert (answer.status_code, answer.headers["ETag"]) == (200, '"1"')
