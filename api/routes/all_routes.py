"""Every router of the JSON API, in the order in which they are tried."""

from fastapi import APIRouter

from api.routes import alarms, batches, curing_salts, daily, health, instruments, making, records, units, watching

MODULES = (units, batches, making, daily, curing_salts, instruments, alarms, watching, records, health)
routers: tuple[APIRouter, ...] = tuple(module.router for module in MODULES)
