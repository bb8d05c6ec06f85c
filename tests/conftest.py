"""What holds for all tests: no data folder of who runs them is written into, and each process uses one thread."""

import os

import pytest
from hypothesis import HealthCheck, settings

# Processes of pytest-xdist fill the cores already: more threads only wait for each other. Read when NumPy and OpenCV
# are imported, by the tests and by the programs that they start.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(_name, "1")


@pytest.fixture(scope="session", autouse=True)
def own_data_folder(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SECONDTAPE_DATA", str(tmp_path_factory.mktemp("data")))
        yield


# How fast examples are made says how busy a machine is, not whether a fact holds.
settings.register_profile("suite", suppress_health_check=[HealthCheck.too_slow], deadline=None)
settings.load_profile("suite")
