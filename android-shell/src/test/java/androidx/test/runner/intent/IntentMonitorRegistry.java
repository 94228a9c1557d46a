// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.intent;

public final class IntentMonitorRegistry {
    private IntentMonitorRegistry() {}

    public static void registerInstance(IntentMonitor monitor) {}
}
