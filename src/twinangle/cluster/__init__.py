"""Recordings analysed by the workers of a dask cluster: the same files, to the byte, as here."""

from __future__ import annotations

from twinangle.cluster.scheduler import Cluster

__all__ = ["Cluster"]
