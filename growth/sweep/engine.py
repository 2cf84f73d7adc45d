"""A papermill engine, `growth-warm`: the stock engine with kernels forked warm. `papermill --engine growth-warm IN OUT`."""

from __future__ import annotations

from typing import Any

from jupyter_client import AsyncKernelManager
from jupyter_client.kernelspec import KernelSpec
from papermill.engines import NBClientEngine

PROVISIONER = "growth-warm"


def register() -> None:
    """Make the engine and the provisioner known in a checkout whose entry points are not installed; else do nothing."""
    from importlib.metadata import EntryPoint

    from jupyter_client.provisioning import KernelProvisionerFactory
    from papermill.engines import papermill_engines

    if PROVISIONER not in papermill_engines._engines:
        papermill_engines.register(PROVISIONER, WarmEngine)
    factory = KernelProvisionerFactory.instance()
    group = KernelProvisionerFactory.GROUP_NAME
    factory.provisioners.setdefault(PROVISIONER, EntryPoint(PROVISIONER, "growth.sweep.provisioner:WarmProvisioner", group))


class WarmKernelManager(AsyncKernelManager):
    """The stock manager, with our provisioner in the place of the local one."""

    @property
    def kernel_spec(self) -> KernelSpec | None:
        """The kernel's specification, served by the warm provisioner unless it names one itself."""
        spec = super().kernel_spec
        if spec is not None and not spec.metadata.get("kernel_provisioner"):
            spec.metadata = {**spec.metadata, "kernel_provisioner": {"provisioner_name": PROVISIONER}}
        return spec


class WarmEngine(NBClientEngine):
    """papermill's own engine in everything but where its kernels come from, so that outputs are the same."""

    @classmethod
    def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **kwargs: Any) -> Any:
        """Run the notebook's cells; keywords are those of papermill's NBClientEngine."""
        kwargs.setdefault("kernel_manager_class", WarmKernelManager)
        return super().execute_managed_notebook(nb_man, kernel_name, **kwargs)
