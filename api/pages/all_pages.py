"""Every router of the pages."""

from fastapi import APIRouter

routers: tuple[APIRouter, ...] = ()
