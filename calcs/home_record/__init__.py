"""The record of a home over the years: read once, told as page, paper, API and CSV.

``read`` asks the database, ``heights`` puts surveys on one scale, ``compare`` asks what moved between two of them;
``pictures`` and ``tables`` are what ``paper`` is made of, ``numbers`` is the same for the API.
"""
