"""How serving ends."""

import signal

import pytest
import uvicorn
from starlette.applications import Starlette

from api.serving import _ended_by_signals


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_before_the_server_listens_to_signals_ends_it_all_the_same(number: signal.Signals) -> None:
    server = uvicorn.Server(uvicorn.Config(Starlette()))
    before = signal.getsignal(number)
    with _ended_by_signals(server):
        signal.raise_signal(number)
    assert server.should_exit
    assert signal.getsignal(number) is before
