"""Due visits planned together, from the record and back to it: asked, read, searched in the background, told, booked.

The planner itself is ``calcs.planning``, which knows nothing of the record.
"""
