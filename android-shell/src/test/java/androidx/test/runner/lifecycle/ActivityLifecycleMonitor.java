// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.lifecycle;

public interface ActivityLifecycleMonitor {}
