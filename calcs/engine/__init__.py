"""The engine: one physical question a module, pure functions of frozen dataclasses, no service behind it."""
