"""The page, the calendars and the record forms over HTTP, behind secrets in the links."""

from planner.server.links import Links, picture
from planner.server.running import Settings, serve

__all__ = ["Links", "Settings", "picture", "serve"]
