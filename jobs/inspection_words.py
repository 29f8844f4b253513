"""What is said of the items of an inspection, so that it can be said in the reader's language."""

from django.utils.translation import gettext_noop as _

# Word for word as in inspection.toml; a test holds them against it.
WORDS = (
    _("water around the home"),
    _("skirting and vents"),
    _("access opening"),
    _("steps, decks and porches"),
    _("chimney and masonry"),
    _("doors and windows"),
    _("trees"),
    _("ground below"),
    _("ground sheet"),
    _("room below the frame"),
    _("frame"),
    _("rim and joists"),
    _("mate line"),
    _("perimeter at doors and openings"),
    _("belly and insulation"),
    _("ducts"),
    _("dryer vent, condensate, heater drain"),
    _("shut-offs"),
    _("wiring and bonding"),
    _("old repairs"),
    _("animals"),
)
LOOKS = (
    _(
        "Ground falls away from the home, gutters and downspouts lead off, no puddle stands at the wall or "
        "below. Benchmark: 1/2 in a foot for 10 ft."
    ),
    _(
        "Crushed skirting says the home went down, a gap above it that the home went up. Vents are open and "
        "not blocked."
    ),
    _("One can get in and out. Benchmark: 18 in by 24 in, 3 square feet or more."),
    _(
        "Whether they stand by themselves or hang on the home, and what a lift would tear or leave behind. "
        "Roofs of porches and carports, sunrooms, ramps, awnings too."
    ),
    _(
        "A chimney, veneer or fireplace that is tied to the home: an engineer decides before anything is "
        "raised. Cracks with place and width."
    ),
    _("Which latch, which rub, which gape, and where. They are tried again after the work."),
    _("Large trees nearer than they are tall: roots dry clay and lift footings."),
    _("Standing water, soft or organic soil, fresh fill, holes washed out or burrowed, heaved or cracked ground."),
    _("It covers the ground, lies lapped and whole. Benchmark: 6 mil or more, laps of 12 in, tears mended."),
    _(
        "Whether somebody and a jack get to every support. Benchmark: 12 in from the ground to the lowest "
        "part of the frame."
    ),
    _(
        "Beams bent, twisted or rusted through, cracked welds, bent outriggers, beams that sit off the middle"
        " of their supports."
    ),
    _(
        "Rim sagging or pulled away; sills, girders and joists rotten, notched or eaten: probe them. A splice"
        " that lies off its support."
    ),
    _(
        "A step between the floors, a gap, fasteners pulled, both halves on their supports; supports below "
        "the ends of the ridge beam and beside openings of 48 in and more."
    ),
    _("Supports at both sides of outside doors, of openings of 48 in and more, below porch posts and fireplaces."),
    _(
        "Torn or hanging board, wet or missing insulation. Water in it is heavy and hides bare wire: stay out"
        " from under it."
    ),
    _("The crossover hangs free of the ground, not crushed, tight at both collars. Benchmark: held every 4 ft."),
    _("Each leads outside through the skirting and ends away from the supports."),
    _(
        "Water, gas and power: where each is, and that it can be reached. Water is tried; gas is for whoever "
        "the state licenses."
    ),
    _("Feeder, its slack and its pipe, the bonding wire; nothing bare, nothing wet. Seen, not touched."),
    _(
        "Screw jacks left as supports, cribs of wood, stacked pavers, piles of shims, blocks on their side, "
        "supports that nobody drew."
    ),
    _("Rodents, snakes, wasps, spiders, a dog, tubes of termites. What may hurt somebody is noted as a hazard too."),
)
SOURCES = (
    _("24 CFR 3285.203, as a benchmark"),
    _("vents: 24 CFR 3285.505, as a benchmark; the rest common practice, no source"),
    _("24 CFR 3285.505, as a benchmark"),
    _("common practice, no source"),
    _("24 CFR 3285.6, as a benchmark: they open and close as before"),
    _("from memory"),
    _("24 CFR 3285.202 and 3285.203, as a benchmark"),
    _("24 CFR 3285.204, as a benchmark"),
    _("24 CFR 3285.305, as a benchmark"),
    _("24 CFR 3285.310, as a benchmark"),
    _("24 CFR 3285.311, as a benchmark"),
    _("24 CFR 3285.606, as a benchmark"),
)
