// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.lifecycle;

public enum ApplicationStage {
    PRE_ON_CREATE,
    CREATED
}
