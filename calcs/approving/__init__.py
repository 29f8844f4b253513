"""Whether a plan may be built: what stands in its way, who may sign past it, and somebody's word that it is done.

There are reasons of three kinds. *Nobody* signs past what is wrong about the plan itself, or past an engineer's
matter: the cause has to go first. *The manager* signs past the rest, with a reason that is kept. What the approver
must know though it refuses nothing is *told*.

    code                    refused when                                                             past it
    role                    neither crew lead nor manager                                            nobody
    archived, siting_over   the home is archived, or stands elsewhere now                            nobody
    replaced                readings came or were corrected since, or another lift took its place    nobody
    stale_record            the layout, the home's record or the rules were changed since            nobody
    not_handed_in           the survey is still open                                                 nobody
    newer_survey            a later survey read supports that the plan touches                       nobody
    worked_on               supports of the home were worked on after the survey was read            nobody
    contested               a reading was corrected twice and nobody said which holds                nobody
    provisional             a suspect or unchecked reading touches what moves, or beside it          nobody
    sense_not_tried         nobody tried which way the numbers of a setup go                         nobody
    not_closed              a setup without closing shot: its readings have no other check           nobody
                            the same, each of its readings being checked from another setup          manager
    misclosure              closing shot and first reference shot differ by over 3 sqrt(2) sd        manager
    unchecked               nothing checks readings that the plan does not touch                     manager
    noisy                   readings scatter more than the method should, at the rule `alpha`        manager
    copied                  they scatter less than `least_scatter` of that: copied, or another unit  manager
    jump                    neighbours differ by more than `most_jump_in`                            manager
    marks_jump              marks changed against each other, or the home against them, by more      manager
                            than `most_mark_jump_in` and `most_home_jump_in` since the survey before
    hangs_as_read           supports that are recorded as tight hang as read, beyond noise at `alpha`    manager
    not_recorded            a finding measured a gap, a height or a travel that the record has not   manager
    nothing_to_do           the plan touches no support                                              nobody
    checks_waiting          a check of the plan is not computed yet                                  nobody
    checks_failed           a check of the plan has no answer                                        nobody
    no_loads                no line was read whole, so that no load and no order of jacking is told  manager
    raise, lower, touched   further, deeper or more than a crew lead may approve (`lead_most_...`)   manager
    chance                  less sure to end within tolerance than `lead_least_chance`, or not told  manager
    engineer_move           a support goes further than the walls allow without an engineer          nobody
    engineer_stack          a stack that is touched would stand over what needs a design (67 in)     nobody
    engineer_load           a support would carry more than a double stack may                       nobody
    stands_engineer         as those, at a support that stands so already and is not touched         manager
    table_engineer          a federal table has no answer for a load, a footing, or the straps       manager
    over                    stacks to be built are over what a table allows them                     manager
    jack_rating             a jack would push more than is marked on it (29 CFR 1926.305)            nobody
    jack_factor             less than that, but without the factor that the rules ask for            manager
    left_behind             a support is let down and the frame does not follow                      manager
    no_stack                no stack of known parts has the height                                   manager
    no_assessment           nobody has assessed the home                                             nobody
    block                   something of the assessment blocks: what can be signed past is signed    (there)
                            past there, each by itself (`jobs.assessing`)

Not measured travel counts as none in the plan already; that it is not measured is told. Straps to loosen are told,
and stand on the crew's sheet. Missing papers keep nobody from approving, so that work can be planned while a permit
is on its way: nobody starts without them (`why_not_start`; told where work is noted until it has begun).
"""

from calcs.approving.decide import (
    REASON_AT_MOST,
    approve,
    standing_approval,
    why_not,
    why_not_standing,
    why_not_start,
    withdraw,
)
from calcs.approving.refusals import Refusal
from calcs.approving.telling import Remark, told

__all__ = [
    "REASON_AT_MOST",
    "Refusal",
    "Remark",
    "approve",
    "standing_approval",
    "told",
    "why_not",
    "why_not_standing",
    "why_not_start",
    "withdraw",
]
