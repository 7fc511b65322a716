"""The cautions papers print: one catalogue, so that a sentence is changed in one place.

The sentences are reminders for people already trained for the work. They stand in for no site rule, local code
or licence, and each paper says so last.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from domain.rules.fitness import Hazard
from domain.rules.incidents import IncidentKind

ALWAYS_LAST = "Site rules, local codes and licensed practice come first; this list does not replace them."


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution: the word that stands in a row, and the sentence that stands once on the paper."""

    id: str
    word: str
    sentence: str


def _catalogue(*cautions: Caution) -> dict[str, Caution]:
    return {caution.id: caution for caution in cautions}


CATALOGUE = _catalogue(
    Caution(
        "people-first",
        "people first",
        "Bring people out of danger before anything else, then call the local emergency number where somebody is hurt, and say which"
        " animal or substance it was. The site's emergency sheet says where help, antivenom and keys are.",
    ),
    Caution(
        "venomous-bite",
        "venomous bite",
        "A bite or sting of an animal that is or may be venomous is an emergency even where it does not hurt: keep the person calm and"
        " still, take off rings and tight clothing, note the time, and leave all else to the emergency and poison services. Do not cut,"
        " suck, cool or tie off.",
    ),
    Caution(
        "wound-care",
        "wound",
        "Not if it may be venomous. Any other wound: let it bleed a little, wash it with running water and soap, cover it, and have it"
        " seen by a doctor on the same day: bites, scratches and tank water carry germs.",
    ),
    Caution(
        "escaped-animal",
        "search in pairs",
        "Close doors, drains and windows, keep the public out, and count who is there. Search in pairs with the tools for this animal;"
        " nobody catches a dangerous animal alone. Tell neighbours and authorities as the emergency plan says.",
    ),
    Caution(
        "power-outage",
        "no power",
        "Do not reach into water or touch wet fittings while power may come back: switch off, lock off and prove dead. See first to"
        " what fails soonest: oxygen, heat and locks. Generators stand in the open air; mains wiring is for licensed persons.",
    ),
    Caution(
        "contaminated-area",
        "keep apart",
        "Keep what is contaminated apart, with its own gloves, tools and boots; no food there; wash and change afterwards. Chemicals are"
        " handled by their safety data sheet, and nothing goes into drains before somebody competent has said so.",
    ),
    Caution(
        "dead-animal",
        "dead animal",
        "What killed an animal may make people and other animals ill: gloves, two bags, a label with the day, cool and not frozen until"
        " the veterinarian has said what is to be examined. A dead venomous animal can still bite by reflex.",
    ),
    Caution(
        "isolate-supply",
        "isolate",
        "Electricity near water: switch off, lock off and prove dead before you touch; leave a drip loop in every"
        " lead, use a circuit with a residual-current device, and leave mains wiring to licensed persons.",
    ),
    Caution(
        "live-test",
        "live test",
        "This test is done under supply: only by persons trained for it, by the instrument's own procedure, with dry hands"
        " and no reaching into water while it runs.",
    ),
    Caution(
        "hot-surface",
        "hot",
        "Lamps, heaters and their guards burn: switch off and let them cool for 20 minutes, and never cool them with water.",
    ),
    Caution(
        "uv-eyes",
        "UV",
        "Ultraviolet harms eyes and skin: switch off before you open the fitting, never look into a burning lamp or"
        " steriliser, and put every shield back before you switch on.",
    ),
    Caution(
        "mercury-lamp-disposal",
        "mercury",
        "The lamp holds mercury: put it unbroken into its sleeve or a closed box for hazardous waste. If it breaks,"
        " everyone leaves, the room is aired for 15 minutes, and nobody sweeps or vacuums; then follow the site's"
        " spill procedure.",
    ),
    Caution(
        "pressurised-canister",
        "pressure",
        "The vessel may be under pressure: stop the pump, close the valves and bleed it before you loosen a clamp.",
    ),
    Caution(
        "chemicals-eyes",
        "goggles",
        "Chemicals splash: wear goggles and the gloves the data sheet names, add acid to water and never water to"
        " acid, and know where the eye-wash stands.",
    ),
    Caution(
        "water-hygiene",
        "gloves",
        "Tank water and animals carry germs: wear gloves, cover wounds, do not eat or drink, and wash your hands"
        " afterwards. Ask first if you are pregnant or your resistance is low.",
    ),
    Caution(
        "keep-biofilter",
        "part only",
        "Never change all the filter media of one system at once: keep the greater part, rinse it in the system's own"
        " water, and test ammonia and nitrite in the days after.",
    ),
    Caution(
        "dangerous-animals",
        "animals",
        "Animals here can hurt you: open the enclosure only by the site's own procedure for two persons and tools,"
        " with the emergency sheet at hand.",
    ),
    Caution(
        "venom",
        "venom",
        "A bite can kill: never work alone, never by hand, and only after the emergency sheet, the antivenom's whereabouts and the"
        " way to the hospital have been said aloud. Count the animals before you open and after you have closed.",
    ),
    Caution(
        "bite-wounds",
        "bite",
        "Bites, claws and tails wound: use the tool made for this animal, keep face and fingers away from its mouth, and wash and"
        " report every wound, however small.",
    ),
    Caution(
        "hazard-not-on-record",
        "ask first",
        "Nobody has put on record how dangerous these animals are: ask before you open, and have it put on record.",
    ),
    Caution(
        "live-transport",
        "live load",
        "Boxes stay upright, shut and out of sun, draught and engine heat, marked as live animals on every side. They are opened on the way"
        " only where an animal is in danger, indoors, with doors and windows closed. The rules of the carrier and of live animal transport"
        " come first.",
    ),
    Caution(
        "venomous-transport",
        "locked",
        "Venomous animals travel in a locked box within a locked box, both marked as venomous with the species and an emergency number."
        " Nobody opens them before two persons trained for it, their tools and the emergency sheet are there.",
    ),
    Caution(
        "zoonosis",
        "wash hands",
        "Healthy reptiles, amphibians and fish can carry germs that make people ill, Salmonella among them: wear gloves, keep hands"
        " from mouth and eyes, no food or drink nearby, and wash your hands before you go on.",
    ),
    Caution(
        "measure-after-fitting",
        "measure after",
        "Measure the output where the animals use it once the new part is fitted and has warmed up, and write the"
        " reading down before you leave.",
    ),
)
_order = {id_: number for number, id_ in enumerate(CATALOGUE)}


_of_hazard: Mapping[Hazard | None, tuple[str, ...]] = {
    Hazard.HARMLESS: (),
    Hazard.CAN_INJURE: ("bite-wounds",),
    Hazard.DANGEROUS: ("dangerous-animals", "bite-wounds"),
    Hazard.VENOMOUS: ("dangerous-animals", "venom"),
    None: ("hazard-not-on-record",),
}


def of_animals(hazards: Iterable[Hazard | None]) -> tuple[str, ...]:
    """Return the ids of the cautions for work with animals of these hazard classes; ``None`` is a class that is not on record.

    Germs are a caution for every animal.
    """
    return tuple(one.id for one in in_order([*(id_ for hazard in hazards for id_ in _of_hazard[hazard]), "zoonosis"]))


def of_journey(hazards: Iterable[Hazard | None]) -> tuple[str, ...]:
    """Return the ids of the cautions for carrying animals, as in ``of_animals``; what is not known may be venomous."""
    concerned = list(hazards)
    locked = ("venomous-transport",) if {Hazard.VENOMOUS, None} & set(concerned) else ()
    return tuple(one.id for one in in_order(["live-transport", *locked, *of_animals(concerned)]))


_of_incident: Mapping[IncidentKind, tuple[str, ...]] = {
    IncidentKind.ESCAPE: ("escaped-animal",),
    IncidentKind.BITE: ("wound-care",),
    IncidentKind.INJURY: ("wound-care",),
    IncidentKind.DEATH: ("dead-animal",),
    IncidentKind.OUTAGE: ("power-outage",),
    IncidentKind.CONTAMINATION: ("contaminated-area", "chemicals-eyes"),
}
_WOUNDING = frozenset((IncidentKind.BITE, IncidentKind.INJURY))
_HURTFUL = _WOUNDING | {IncidentKind.ESCAPE}


def of_incident(kind: IncidentKind, hazards: Iterable[Hazard | None]) -> tuple[str, ...]:
    """Return the ids of the cautions after something went wrong; ``hazards`` are those of the animals concerned, as in ``of_animals``.

    Where an animal hurt or may hurt somebody and none is named, it may have been any. Wounds by what is known as venomous are not washed.
    """
    concerned = list(hazards) or ([None] if kind in _HURTFUL else [])
    venomous = ("venomous-bite",) if kind in _HURTFUL and {Hazard.VENOMOUS, None} & set(concerned) else ()
    own = () if kind in _WOUNDING and Hazard.VENOMOUS in concerned else _of_incident[kind]
    of_them = of_animals(concerned) if concerned else ()
    return tuple(one.id for one in in_order(["people-first", *venomous, *own, *of_them]))


def caution(id_: str) -> Caution:
    """Return the caution; one that is not in the catalogue prints as its own id and says whom to ask."""
    return CATALOGUE.get(id_) or Caution(id_, id_, "Not in the catalogue of cautions: ask before you start.")


def in_order(ids: Iterable[str]) -> tuple[Caution, ...]:
    """Return each caution once: those of the catalogue in its order, then the others by id."""
    return tuple(caution(id_) for id_ in sorted(frozenset(ids), key=lambda id_: (_order.get(id_, len(_order)), id_)))
