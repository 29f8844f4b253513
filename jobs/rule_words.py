"""What the rules of the rule book are about, so that it can be said in the reader's language."""

from django.utils.translation import gettext_noop as _

# Word for word as in rulebook.toml; a test holds them against it.
ABOUT = (
    _("largest difference between neighbouring supports"),
    _("what a pair with a moved support is brought within, so that noise and seating leave it within tolerance"),
    _("smallest step a jack and shims are set to"),
    _("moves smaller than this are not worth a touch"),
    _("a gap at the wedge up to this may stay where nothing else is done"),
    _("highest raise at one support without an engineer"),
    _("deepest lowering at one support without an engineer"),
    _("minutes for two people to jack, shim and wedge one support"),
    _("minutes to close a gap at the wedge where the frame does not move"),
    _("further minutes for each inch raised: passes, re-reading, blocking"),
    _("further minutes for each inch lowered"),
    _("a support that grows by more than this gets new courses: shims go to 1 in at most"),
    _("a support that shrinks by more than this loses courses"),
    _("further minutes to rebuild a stack"),
    _("how much higher than its last place a jack takes the frame, so that parts go in"),
    _("chance that a good reading is called suspect"),
    _("chance that a slip of the smallest detectable size is found"),
    _("how sure a verdict within or over is"),
    _("standard deviation of one water-level reading by eye"),
    _("standard deviation of one digital hydrostatic reading"),
    _("standard deviation of one laser and rod reading"),
    _("working load of an anchor and its strap"),
    _("ultimate load of an anchor and its strap"),
    _("flattest strap angle to the ground that the federal table covers"),
    _("steepest strap angle to the ground that the federal table covers"),
    _("flattest strap angle that passes without a flag"),
    _("steepest strap angle that passes without a flag"),
    _("fewest wraps on the bolt; the anchor's listing governs"),
)
