"""What is said of the questions of an enquiry, so that it can be said in the reader's language."""

from django.utils.translation import gettext_noop as _

# Word for word as in enquiry.toml; a test holds them against it.
QUESTIONS = (
    _("Does it smell of gas there now?"),
    _("Have we worked there before?"),
    _("Was it built in a factory or on site?"),
    _("In how many sections did it come?"),
    _("About when was it built, and since when does it stand there?"),
    _("Is it worse in the wet or in the dry season?"),
    _("Has anything leaked, or does water stand below or beside the home?"),
    _("Was it releveled before: when, and by whom?"),
    _("What was built onto it: porch, deck, carport, room, chimney?"),
    _("What skirting does it have?"),
    _("Are power and water on?"),
    _("Is there gas?"),
    _("Gate, lock, dog, bad road: what does a crew need to know to come in?"),
    _("Who owns the land?"),
    _("Is a sale or loan pending that asks for a foundation letter?"),
    _("Does somebody there need oxygen, power for a device, or help to walk?"),
)
WHYS = (
    _("It can't wait for a visit."),
    _("It may be a call-back, and marks may stand there that were read."),
    _("Other supports, other rules."),
    _("Where two meet, the mate line has supports of its own."),
    _("Fresh fill settles in the first years."),
    _("Clay moves with the seasons: then one reading tells the season as much as the settlement."),
    _("What water has moved moves again until the water is mended."),
    _("What others left below is looked at first."),
    _("What hangs on the home is freed before it goes up, and masonry waits for an engineer."),
    _("How one gets below, and what has to come off."),
    _("Drains and leaks are tried with the water running."),
    _("Hard pipe is not moved, and somebody licensed tests the joints afterwards."),
    _("A crew that can't come in has lost the day."),
    _("Whoever owns it has to agree."),
    _("Such a letter is an engineer's, and work on supports may void one."),
    _("Nobody stays inside while the home goes up."),
)
CHOICES = (
    _("in a factory"),
    _("on site"),
    _("one"),
    _("two"),
    _("three or more"),
    _("in the wet season"),
    _("in the dry season"),
    _("no difference"),
    _("panels"),
    _("masonry"),
    _("none"),
    _("from the street"),
    _("from a tank"),
    _("no gas"),
    _("the owner of the home"),
    _("a park"),
    _("somebody else"),
)
ALERTS = (
    _("Smell of gas: tell them to go out, to touch no switch, and to call the gas company from outside."),
    _("The land is somebody else's: ask for their word, and for the park's rules, before work starts."),
    _("A foundation letter is asked for: an engineer comes before the crew."),
    _("Somebody there needs help to leave: settle where they stay before a day is booked."),
)
SOURCES = (
    _("common practice, no source"),
    _("24 CFR 3285 is about homes built in a factory"),
    _("24 CFR 3285.310, as a benchmark"),
    _("24 CFR 3285.203, as a benchmark"),
    _("access: 24 CFR 3285.505, as a benchmark; the rest common practice, no source"),
    _("from memory"),
)
