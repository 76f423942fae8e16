"""Every router of the pages."""

from fastapi import APIRouter

from api.pages import (
    alarms,
    aside_acts,
    batch,
    batch_acts,
    batches,
    channels,
    chart_script,
    curing_salts,
    daily_acts,
    journal,
    link,
    live,
    making_acts,
    people,
    pictures,
    plan,
    read,
    record,
    sensors,
    sheets,
    sign_in,
    stopped,
    tonight,
    unit,
)

MODULES = (
    tonight, alarms, aside_acts, batches, batch, batch_acts, making_acts, daily_acts, record, pictures, unit, stopped,
    curing_salts, plan, channels, sensors, sheets, read, people, journal, link, sign_in, live, chart_script,
)  # fmt: skip
routers: tuple[APIRouter, ...] = tuple(module.router for module in MODULES)
"""In this order, so that `/batches/new` is not taken for a lot."""
