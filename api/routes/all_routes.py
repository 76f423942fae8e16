"""Every router of the JSON API, in the order in which they are tried."""

from fastapi import APIRouter

from api.routes import alarms, batches, curing_salts, health, records, units

routers: tuple[APIRouter, ...] = (
    units.router,
    batches.router,
    curing_salts.router,
    alarms.router,
    records.router,
    health.router,
)
