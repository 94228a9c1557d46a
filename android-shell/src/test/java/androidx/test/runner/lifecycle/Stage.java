// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.lifecycle;

public enum Stage {
    PRE_ON_CREATE,
    CREATED,
    STARTED,
    RESUMED,
    PAUSED,
    STOPPED,
    RESTARTED,
    DESTROYED
}
