// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.lifecycle;

public final class ActivityLifecycleMonitorRegistry {
    private ActivityLifecycleMonitorRegistry() {}

    public static void registerInstance(ActivityLifecycleMonitor monitor) {}
}
