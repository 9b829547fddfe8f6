"""Nothing that the person who runs the tests has confirmed changes what limits say here."""

import pytest


@pytest.fixture(autouse=True, scope="session")
def _no_confirmations(tmp_path_factory):
    empty = tmp_path_factory.mktemp("data")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("platformdirs.user_data_path", lambda *_, **__: empty)
        yield
