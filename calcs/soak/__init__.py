"""Whether anything is ever lost: real processes under load, killed at random, and an exact comparison afterwards.

``run`` owns the processes and kills them, ``killing`` picks whom; both know nothing of Django. ``load`` is what
phones do, ``ledger`` what they sent and were told, ``compare`` what is stored in the end.
"""
