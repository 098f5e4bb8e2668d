"""GeoPackage in, always from a copy: GDAL on a file that this process writes would drop the locks on it."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pyogrio
import pyogrio.errors

from gridmap.errors import FileRefused
from gridmap.exchange.files import MOST_LAYER_BYTES, MOST_ROWS, check_file

# Written beside a database while it is open; without them a copy may lack what was last written.
_SIDE_FILES: Final = ("-journal", "-wal")


def read_geopackage(path: Path, *, layer: str | None = None, kinds: str = "Polygon") -> gpd.GeoDataFrame:
    """Read a layer of a GeoPackage.

    Parameters
    ----------
    path : path
        A file that `kind_of` calls a GeoPackage.
    layer : str, optional
        Which; needed where several are of the kind that is looked for.
    kinds : str
        Polygon or Point.

    Returns
    -------
    GeoDataFrame
        All columns, in the CRS of the layer, or without one.

    Raises
    ------
    FileRefused
        Damaged, no such layer, too many entries.

    References
    ----------
    OGC 12-128r18, GeoPackage Encoding Standard 1.3.

    Examples
    --------
    >>> read_geopackage(Path("nowhere.gpkg"))
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.gpkg is not there: it must be a file. Check its name and folder.
    """
    check_file(path, most_bytes=MOST_LAYER_BYTES)
    with _copy(path) as copy:
        chosen = _choose({str(key): kind for key, kind in pyogrio.list_layers(copy)}, layer, kinds, path.name)
        frame = pyogrio.read_dataframe(copy, layer=chosen, max_features=MOST_ROWS + 1)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise FileRefused(f"layer {chosen} of {path.name} holds no shapes", f"it must hold a {kinds} each")
    if len(frame) > MOST_ROWS:
        raise FileRefused(
            f"layer {chosen} of {path.name} has over {MOST_ROWS:,} entries", "that is no grove's", "cut it down"
        )
    if (frame.crs is not None and frame.crs.type_name == "Engineering CRS") or "undefined" in str(
        getattr(frame.crs, "name", "")
    ).lower():
        return frame.set_crs(None, allow_override=True)
    return frame


def layer_names(path: Path) -> list[str]:
    """List the layers of a GeoPackage, read from a copy."""
    with _copy(path) as copy:
        return [str(name) for name, _ in pyogrio.list_layers(copy)]


@contextlib.contextmanager
def _copy(path: Path) -> Iterator[Path]:
    """Give a copy to GDAL, and say in one line what it finds wrong with it."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        warnings.simplefilter("ignore", UserWarning)  # measures are left out, as heights are
        copy = Path(folder) / "copy.gpkg"
        shutil.copyfile(path, copy)
        for side in _SIDE_FILES:
            if path.with_name(path.name + side).exists():
                shutil.copyfile(path.with_name(path.name + side), copy.with_name(copy.name + side))
        try:
            yield copy
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as trouble:
            rule = str(trouble).replace(str(copy), path.name)[:200]
            raise FileRefused(f"file {path.name} is damaged or cut off", rule, "copy it again") from None


def _choose(layers: dict[str, Any], layer: str | None, kinds: str, name: str) -> str:
    """Take the layer that was named, or the only one that could be meant."""
    if layer is not None:
        if layer not in layers:
            raise FileRefused(f"file {name} has no layer {layer!r}", f"it has {', '.join(layers) or 'none'}")
        return layer
    fitting = [
        key
        for key, kind in layers.items()
        if kind is not None and (kinds in str(kind) or str(kind) in ("Unknown", "GeometryCollection"))
    ]
    if not fitting:
        held = ", ".join(f"{key} ({kind or 'no shapes'})" for key, kind in layers.items()) or "none"
        raise FileRefused(f"file {name} has no {kinds} layer", f"its layers are: {held}")
    if len(fitting) > 1:
        raise FileRefused(
            f"file {name} has {len(fitting)} {kinds} layers", f"they are {', '.join(fitting)}", "name the layer"
        )
    return fitting[0]
