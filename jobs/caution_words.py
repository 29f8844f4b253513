"""What is said of hazards at the work, so that it can be said in the reader's language."""

from django.utils.translation import gettext_noop as _

# Word for word as in cautions.toml; a test holds them against it.
HAZARDS = (
    _("Collapse and crushing"),
    _("A jack that slips or is driven too far"),
    _("Somebody below whom nobody sees"),
    _("Bad air, a bad way out"),
    _("Alone below"),
    _("Electric shock"),
    _("Gas"),
    _("Buried lines"),
    _("A footing undermined"),
    _("Water, sewage and fire when pipe is cut"),
    _("Droppings and nests of rodents"),
    _("Spiders, snakes, wasps"),
    _("Asbestos and lead"),
    _("Heat and cold"),
    _("Carbon monoxide"),
    _("A strained back"),
    _("A strap that flies back"),
    _("Wind"),
    _("Flooded or soft ground"),
    _("People in the home"),
)
TEXTS = (
    _("Block the load as soon as it is up, at every pass. A jack only lifts: it never holds a home over somebody."),
    _(
        "Firm, level ground under each jack, and wood between its head and steel. Stay within its rated load and "
        "its stroke."
    ),
    _(
        "Count everybody in and out by name before anything goes up or down. A worker was killed when a home was "
        "raised and nobody knew that he was under it."
    ),
    _(
        "Before work a competent person decides whether this is a confined space and whether it needs a permit. "
        "In doubt test the air: oxygen first, then what burns, then what poisons. Most crawl spaces need no "
        "permit, but gas, sewage, exhaust or solvents can make one need it."
    ),
    _("As long as anybody is below, somebody stays outside with a phone and keeps the way out clear."),
    _(
        "Find live circuits first, then switch them off or guard them. Wet belly and bare wire: stay out. Every "
        "cord is on a GFCI."
    ),
    _(
        "Smell of gas: everybody out, touch no switch, call from outside. Do not move a line of hard pipe. "
        "Afterwards every joint that moved is tested with soap, by whoever the state licenses."
    ),
    _(
        "Have buried lines marked before an anchor is driven or a footing is dug. Dig by hand near the marks. "
        "Where nobody knows the place, wear insulated gloves."
    ),
    _("Do not dig below or beside a footing that carries load unless the load is held otherwise."),
    _(
        "Water off and the pipe drained before it is cut. Know what the pipe is made of. Guard hands and eyes "
        "against sewage. No torch under the belly."
    ),
    _(
        "Let air through for 30 minutes or more and never sweep dry. Soak droppings 5 minutes with one part "
        "bleach to nine of water. Gloves, and a respirator where there is much. Fever within 45 days: see a "
        "doctor and say where you were."
    ),
    _("Look before you reach. Gloves and long sleeves."),
    _("Board, pipe wrap, loose fill and paint from before the 1980s: leave them as they are until they are tested."),
    _("Drink, take breaks and watch each other. It is hot under a home, and kneeling in the wet chills."),
    _("No engine runs in the opening or near it: exhaust stays under the home."),
    _(
        "Blocks are heavy and crawling makes them heavier: carry by two or drag a sled. 51 lb is the most for one"
        " person who stands well."
    ),
    _("Stand clear of the strap's line, let it go slowly, guard your eyes."),
    _("Do not slacken a side while wind is forecast. Everything is tied again before anybody leaves."),
    _("Do not jack on mud. Do not go into standing water near power."),
    _("Stove off, nobody bathes, children and pets out of the room above. For a big lift everybody leaves the home."),
)
SOURCES = (
    _("29 CFR 1926.305: a load is blocked at once after it is raised"),
    _("29 CFR 1926.305 and 1910.244: footing, head and rating of jacks"),
    _("NIOSH FACE 2002-04: the report of that death"),
    _("29 CFR 1926.1203 and 1926.1204; an OSHA sheet on crawl spaces, seen through summaries"),
    _("29 CFR 1926.1204 where a permit is needed; else common practice, no source"),
    _("29 CFR 1926.416; GFCI: 29 CFR 1926.404, from memory"),
    _("24 CFR 3280.705: test with soap; the rest from memory"),
    _("29 CFR 1926.651: lines are located first; 29 CFR 1926.416: gloves where the place is not known"),
    _("29 CFR 1926.651: no digging below a footing without support"),
    _("common practice, no source"),
    _("CDC pages on hantavirus and MMWR 51 RR-9; 45 days: a National Park Service summary"),
    _("NIOSH on outdoor work, from memory"),
    _("29 CFR 1926.1101, 29 CFR 1926.62 and 40 CFR 745, from memory"),
    _("OSHA on heat and cold, from memory"),
    _("NIOSH and OSHA on carbon monoxide, from memory"),
    _("NIOSH lifting equation: 51 lb at best, from a teaching page"),
    _("29 CFR 1926.305: footing of jacks; 29 CFR 1926.416: live parts"),
)
