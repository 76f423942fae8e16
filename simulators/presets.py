"""Three kinds of unit, with figures of the size that small kitchens have (invented). Pure: no clock, no I/O."""

from simulators.doors import QUIET_NIGHT_AND_BUSY_DAY
from simulators.room import Delivery, Room, Tub

WALK_IN = Room(
    openings_per_hour=QUIET_NIGHT_AND_BUSY_DAY,
    deliveries=(Delivery(hour=7.5, tub=0, share=0.10, goods_c=8.0),),
)
"""A walk-in cold room of 15 m3 with the day's service going in and out."""

UPRIGHT = Room(
    name="upright fridge",
    tubs=(Tub("stock", time_constant_s=2.5 * 3600.0, capacity_j_k=90e3),),
    air_j_k=6e3,
    lining_j_k=16e3,
    lining_w_k=30.0,
    wall_w_k=2.2,  # 5.5 m2 at 0.4 W/(m2 K)
    fan_w=12.0,
    ambient_c=21.0,
    cooling_w=170.0,
    set_point_c=3.2,
    half_band_c=0.9,
    defrost_s=20 * 60.0,
    heater_w=55.0,
    door_width_m=0.6,
    door_height_m=1.5,
    openings_per_hour=tuple(0.25 * rate for rate in QUIET_NIGHT_AND_BUSY_DAY),
    opening_median_s=8.0,
    volume_m3=0.6,
)
"""An upright fridge of 600 litres, opened now and then."""

CURING_CHAMBER = Room(
    name="curing chamber",
    tubs=(Tub("hung pieces", time_constant_s=4 * 3600.0, capacity_j_k=120e3),),
    air_j_k=12e3,
    lining_j_k=35e3,
    lining_w_k=80.0,
    wall_w_k=3.6,  # 12 m2 at 0.3 W/(m2 K)
    fan_w=25.0,
    ambient_c=20.0,
    cooling_w=260.0,
    set_point_c=3.4,
    half_band_c=0.6,
    defrosts_per_day=2,
    defrost_first_hour=5.0,
    heater_w=110.0,
    door_height_m=1.9,
    door_width_m=0.7,
    openings_per_hour=tuple(0.05 * rate for rate in QUIET_NIGHT_AND_BUSY_DAY),
    opening_median_s=25.0,
    volume_m3=3.0,
    wet_surface_pct=84.0,
)
"""A chamber of 3 m3 in which cured pieces rest cold and humid; seldom opened."""
