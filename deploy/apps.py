from django.apps import AppConfig


class DeployConfig(AppConfig):
    name = "deploy"
    verbose_name = "Deploy"

    def ready(self) -> None:
        # Binds every @shared_task to our Celery app, in the web, in commands and in tests alike.
        from deploy import celery  # noqa: F401
