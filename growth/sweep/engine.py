"""A papermill engine, the stock one with kernels forked warm: `papermill --engine growth-warm IN OUT`."""

from __future__ import annotations

from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

PROVISIONER = "growth-warm"


def register() -> None:
    """Register the engine and the provisioner in a checkout without installed entry points; otherwise do nothing."""
    from importlib.metadata import EntryPoint

    from jupyter_client.provisioning.factory import KernelProvisionerFactory
    from papermill.engines import papermill_engines

    if PROVISIONER not in papermill_engines._engines:
        papermill_engines.register(PROVISIONER, WarmEngine)
    factory = KernelProvisionerFactory.instance()
    group = KernelProvisionerFactory.GROUP_NAME
    factory.provisioners.setdefault(
        PROVISIONER, EntryPoint(PROVISIONER, "growth.sweep.provisioner:WarmProvisioner", group)
    )


class WarmKernelManager(AsyncKernelManager):
    """The stock manager, with our provisioner in place of the local one."""

    @property
    def kernel_spec(self) -> KernelSpec | None:
        """The kernel's specification, served by the warm provisioner unless it names one itself."""
        spec = super().kernel_spec
        if spec is not None and not spec.metadata.get("kernel_provisioner"):
            spec.metadata = {**spec.metadata, "kernel_provisioner": {"provisioner_name": PROVISIONER}}
        return spec


class WarmEngine:
    """papermill's own engine with other kernels, so that outputs are the same.

    It hands on to papermill's engine instead of deriving from it: papermill loads this class while it is itself being
    imported.
    """

    @classmethod
    def execute_notebook(cls, nb: Any, kernel_name: str, **kwargs: Any) -> Any:
        """Run the notebook's cells; keywords are those of papermill's NBClientEngine."""
        from papermill.engines import NBClientEngine

        kwargs.setdefault("kernel_manager_class", WarmKernelManager)
        return NBClientEngine.execute_notebook(nb, kernel_name, **kwargs)

    @classmethod
    def nb_kernel_name(cls, nb: Any, name: str | None = None) -> str:
        """The notebook's kernel, or the one named."""
        from papermill.engines import NBClientEngine

        return NBClientEngine.nb_kernel_name(nb, name)

    @classmethod
    def nb_language(cls, nb: Any, language: str | None = None) -> str:
        """The notebook's language, or the one named."""
        from papermill.engines import NBClientEngine

        return NBClientEngine.nb_language(nb, language)
