// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.runner.intent;

public final class IntentStubberRegistry {
    private IntentStubberRegistry() {}

    public static boolean isLoaded() {
        return false;
    }
}
