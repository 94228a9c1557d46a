// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.platform.app;

import android.app.Instrumentation;
import android.os.Bundle;

public final class InstrumentationRegistry {
    private InstrumentationRegistry() {}

    public static void registerInstance(Instrumentation instrumentation, Bundle arguments) {}
}
