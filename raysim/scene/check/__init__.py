"""What is wrong or doubtful in a scene, before any tracing."""
