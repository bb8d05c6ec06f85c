"""What holds for all tests: nothing is written into the data folder of who runs them."""

import pytest
from hypothesis import HealthCheck, settings


@pytest.fixture(scope="session", autouse=True)
def own_data_folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SECONDTAPE_DATA", str(tmp_path_factory.mktemp("data")))
        yield


# How fast examples are made says how busy a machine is, not whether a fact holds.
settings.register_profile("suite", suppress_health_check=[HealthCheck.too_slow], deadline=None)
settings.load_profile("suite")
