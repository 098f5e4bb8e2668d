"""The grove file: one GeoPackage that holds a grove, with its history.

`GroveFile` is the door: frames in, frames out, every change an act that is whole or not there and can be undone.
"""

from api.store.info import GroveInfo, Stored, Zone, ZoneContent
from api.store.store import GroveFile

__all__ = ["GroveFile", "GroveInfo", "Stored", "Zone", "ZoneContent"]
