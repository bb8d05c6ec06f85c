"""What holds for all tests: nothing is written into the data folder of who runs them."""

import pytest


@pytest.fixture(scope="session", autouse=True)
def own_data_folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SECONDTAPE_DATA", str(tmp_path_factory.mktemp("data")))
        yield
