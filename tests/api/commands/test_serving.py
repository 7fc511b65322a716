"""Where ``serve`` cannot listen it says why, and does not say that it serves."""

from __future__ import annotations

import socket

import pytest
from prometheus_client import CollectorRegistry

from api.commands.serving import _figures
from api.commands.trouble import Trouble
from api.settings import Settings


def test_a_taken_port_is_said(terminal):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        status, out, err = terminal.run("serve", "--port", port)

    assert (status, out) == (2, "")
    assert err.strip() == f"Port {port} of 127.0.0.1 is taken by another program. Choose another with --port"


@pytest.mark.parametrize("port", [-1, 0, 65536])
def test_a_port_outside_the_range_is_said(terminal, port):
    status, out, err = terminal.run("serve", "--port", port)

    assert (status, out, err.strip()) == (2, "", f"A port is a number from 1 to 65535, not {port}")


def test_an_address_of_another_machine_is_said(terminal):
    # 192.0.2.0/24 is for documentation only (RFC 5737).
    status, out, err = terminal.run("serve", "--host", "192.0.2.1")

    assert (status, out, err.startswith("Cannot listen on 192.0.2.1, port 8000: ")) == (2, "", True), err


def figures(port):
    """Return the block in which figures are served."""
    return _figures(CollectorRegistry(), Settings(metrics_port=port))


def test_where_the_figures_cannot_be_served_that_is_said():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(Trouble, match=f"Cannot serve the metrics on 127.0.0.1, port {port}: "), figures(port):
            pass


def test_what_goes_wrong_while_figures_are_served_is_not_blamed_on_them():
    with pytest.raises(BrokenPipeError), figures(0):
        raise BrokenPipeError
