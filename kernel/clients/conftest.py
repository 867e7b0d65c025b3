"""What the tests share: where things are, and that the kernel under test is ours."""
import pathlib
import subprocess
import sys

import pytest
from jupyter_client.kernelspec import KernelSpecManager

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session", autouse=True)
def own_kernel():
    """Fail unless the kernel named evenbed is the one installed into this environment."""
    spec = KernelSpecManager().get_kernel_spec("evenbed")
    folder = pathlib.Path(spec.resource_dir).resolve()
    assert folder.is_relative_to(pathlib.Path(sys.prefix).resolve()), f"evenbed comes from {folder}"
    assert pathlib.Path(spec.argv[0]).is_absolute(), spec.argv
    return spec


@pytest.fixture(scope="session")
def evenbed(own_kernel):
    """Return a function that runs the installed program and returns its output."""
    def run(*arguments, cwd=ROOT):
        done = subprocess.run([own_kernel.argv[0], *map(str, arguments)],
                              cwd=cwd, capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout
    return run


@pytest.fixture(scope="session")
def root():
    """Return the folder that holds everything."""
    return ROOT
