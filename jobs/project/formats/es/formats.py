"""Numbers in Spanish as they are typed here, and as Spanish is written in the United States: a point for decimals.

What the engine and the drawings say has one too, and a comma that is typed is refused as one.
"""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
