"""Nitrogen from feed to plants: one mass balance, in g of elemental N."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

PROTEIN_PER_NITROGEN = 6.25  # g crude protein per g N, the usual definition of crude protein
TAN_SHARE = 0.90  # of dissolved N excreted; the rest urea and amines [1]_ of `feed_nitrogen`


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedNitrogen:
    """Where the nitrogen of feed goes; arrays of one shape. [g N]

    `feed` = `retained` + `solids` + `dissolved`; `tan` is the ammonia part of `dissolved`.
    """

    feed: Floats
    retained: Floats
    solids: Floats
    dissolved: Floats
    tan: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """Nitrate in the water, by week.

    Parameters
    ----------
    pool_g
        Nitrogen in the water at each week's end. [g N]
    deficit_g
        Uptake of each week that the water could not give. [g N]
    pool_loss_g
        What left in each week with exchanged water and sludge. [g N]
    nitrate_mg_l
        Nitrate nitrogen at each week's end. [mg N/L]
    """

    pool_g: Floats
    deficit_g: Floats
    pool_loss_g: Floats
    nitrate_mg_l: Floats


def feed_nitrogen(
    feed_g: ArrayLike,
    gain_g: ArrayLike,
    protein_fraction: float,
    body_n_fraction: float,
    solid_share: float,
) -> FeedNitrogen:
    """Split the nitrogen of feed into fish, solids and what dissolves.

    Fish keep their gain times `body_n_fraction`, and never more than the feed leaves them.

    Parameters
    ----------
    feed_g
        Feed given, of any shape. [g]
    gain_g
        Live weight put on, of the same shape; of fish that die later too. [g]
    protein_fraction
        Crude protein of the feed as fed, 0 to 1. [-]
    body_n_fraction
        Nitrogen of whole wet fish. [-]
    solid_share
        Share of the feed's nitrogen that leaves as solids, 0 to 1. [-]

    References
    ----------
    .. [1] Timmons, M. B., Ebeling, J. M., *Recirculating Aquaculture* (from memory): 90 % of the
       nitrogen that fish excrete is ammonia. One trout study found 71 %.
    """
    for name, share in (("protein_fraction", protein_fraction), ("solid_share", solid_share)):
        if not 0 <= share <= 1:
            raise ValueError(f"{name} must be 0 to 1, got {share}")
    feed: Floats = np.asarray(feed_g, dtype=float) * protein_fraction / PROTEIN_PER_NITROGEN
    solids = feed * solid_share
    retained = np.minimum(np.asarray(gain_g, dtype=float) * body_n_fraction, feed - solids)
    dissolved = feed - solids - retained
    return FeedNitrogen(
        feed=feed, retained=retained, solids=solids, dissolved=dissolved, tan=TAN_SHARE * dissolved
    )


def supply_g(
    dissolved_g: ArrayLike,
    solids_g: ArrayLike,
    gas_loss: float,
    solids_kept: bool,
    mineralised: float,
) -> Floats:
    """Return the nitrogen that plants can take: dissolved less gas, and mineralised solids. [g N]

    Parameters
    ----------
    gas_loss
        Share of dissolved nitrogen lost as gas, 0 to 1. [-]
    solids_kept
        Whether solids stay in the gravel; nothing mineralises where filters take them out.
    mineralised
        Share of the solids' nitrogen that dissolves where they are kept, 0 to 1. [-]
    """
    from_solids = mineralised if solids_kept else 0.0
    dissolved, solids = np.asarray(dissolved_g, dtype=float), np.asarray(solids_g, dtype=float)
    supply: Floats = dissolved * (1 - gas_loss) + solids * from_solids
    return supply


def lost_g(
    dissolved_g: ArrayLike,
    solids_g: ArrayLike,
    pool_loss_g: ArrayLike,
    gas_loss: float,
    solids_kept: bool,
) -> Floats:
    """Return the nitrogen that leaves unused: gas, solids taken out and pool loss. [g N]

    Solids kept in the gravel that do not mineralise stay there; they are not counted as lost.
    """
    out = np.asarray(solids_g, dtype=float) * (0.0 if solids_kept else 1.0)
    gas = np.asarray(dissolved_g, dtype=float) * gas_loss
    lost: Floats = gas + out + np.asarray(pool_loss_g, dtype=float)
    return lost


def balance(
    start_pool_g: float,
    supply_g: ArrayLike,
    uptake_g: ArrayLike,
    pool_loss_fraction: float,
    volume_m3: float,
) -> Balance:
    """Run the pool of nitrate through the weeks.

    pool(t) = pool(t - 1) × (1 - pool_loss_fraction) + supply(t) - uptake(t) + deficit(t), where
    the deficit is what would make the pool negative. Nothing else enters or leaves.

    Parameters
    ----------
    start_pool_g
        Nitrogen in the water before the first week, 0 or more. [g N]
    supply_g, uptake_g
        What the fish bring and what the plants would take, by week. [g N]
    pool_loss_fraction
        Share of the pool that leaves in a week, 0 to 1. [-]
    volume_m3
        All system water, above 0. [m³]
    """
    if start_pool_g < 0 or not 0 <= pool_loss_fraction <= 1 or not volume_m3 > 0:
        raise ValueError(
            "start_pool_g must be 0 or more, pool_loss_fraction 0 to 1 and volume_m3 above 0, "
            f"got {start_pool_g}, {pool_loss_fraction} and {volume_m3}"
        )
    supply, uptake = np.asarray(supply_g, dtype=float), np.asarray(uptake_g, dtype=float)
    if supply.ndim != 1 or supply.shape != uptake.shape:
        raise ValueError(f"supply is {supply.shape} and uptake {uptake.shape}; give both by week")
    pool_g, deficit_g, pool_loss_g = (np.zeros(supply.size) for _ in range(3))
    pool = float(start_pool_g)
    for week in range(supply.size):
        pool_loss_g[week] = pool * pool_loss_fraction
        left = pool - pool_loss_g[week] + supply[week] - uptake[week]
        deficit_g[week] = max(0.0, -left)
        pool = pool_g[week] = max(0.0, left)
    return Balance(
        pool_g=pool_g,
        deficit_g=deficit_g,
        pool_loss_g=pool_loss_g,
        nitrate_mg_l=pool_g / volume_m3,
    )
