"""Open formats, in and out: outlines, trees and counts; GeoJSON, GeoPackage, KML, GPX, Shapefile, CSV."""

from gridmap.exchange.calendar_file import write_calendar
from gridmap.exchange.counts import GROUPS, REASONS, WING_BUDS, catch_long, read_counts
from gridmap.exchange.layers import read_layer
from gridmap.exchange.outlines import KEEP_OUT_KINDS, read_keep_outs, read_outlines
from gridmap.exchange.points import POINT_KINDS, read_heights, read_points
from gridmap.exchange.resolve import Resolved, count_uuids, resolve_trees, snap_to_trees
from gridmap.exchange.rings import CLOSING_GAP_M
from gridmap.exchange.trees import read_trees
from gridmap.exchange.weather import WeatherColumns, read_weather
from gridmap.exchange.write import FORMATS, write_layer

__all__ = [
    "CLOSING_GAP_M",
    "FORMATS",
    "GROUPS",
    "KEEP_OUT_KINDS",
    "POINT_KINDS",
    "REASONS",
    "WING_BUDS",
    "Resolved",
    "WeatherColumns",
    "catch_long",
    "count_uuids",
    "read_counts",
    "read_heights",
    "read_keep_outs",
    "read_layer",
    "read_outlines",
    "read_points",
    "read_trees",
    "read_weather",
    "resolve_trees",
    "snap_to_trees",
    "write_calendar",
    "write_layer",
]
