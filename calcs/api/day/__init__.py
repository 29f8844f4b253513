"""A person's day for a phone: loaded in one request, told whole, used without signal."""
