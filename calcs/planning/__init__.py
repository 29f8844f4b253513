"""Several visits planned together: which crew goes where on which day. Dataclasses in and out, no database.

``problem`` has what goes in and ``answer`` what comes out; ``driving`` measures the ways, ``gaps`` what fits between
what is booked, ``hand`` plans as one does by hand, ``search`` looks for better with OR-Tools, ``planner`` joins them.
"""
