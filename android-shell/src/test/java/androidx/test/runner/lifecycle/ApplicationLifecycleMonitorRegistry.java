// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.lifecycle;

public final class ApplicationLifecycleMonitorRegistry {
    private ApplicationLifecycleMonitorRegistry() {}

    public static void registerInstance(ApplicationLifecycleMonitor monitor) {}
}
