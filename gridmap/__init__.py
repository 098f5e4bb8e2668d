"""gridmap: where the pest sits in a grove, how sure that is, and the least spraying that works.

The package computes. It opens no database, no socket and no page: data frames and geometries go in, data frames and
geometries come out. Rooms, in the order in which data flows through them:

``gridmap.ground``
    blocks, rows, places and plants.
``gridmap.pressure``
    the count model, hot spots, how well a tree is known.
``gridmap.treatment``
    decision, zone, sprayer, mix, tank loads.
``gridmap.sward``
    cover surveys, the front of the grass and its climb, ground gained and lost, when to slash.
``gridmap.exchange``
    open formats, in and out.

Everything is in one projected CRS in metres; times are UTC; a column that leaves Python names its unit.
"""

__version__ = "0.1.0"
