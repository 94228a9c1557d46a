// Stands in for the class of this name that Robolectric calls; only what it uses.
package androidx.test.internal.runner.intent;

import android.content.Intent;
import androidx.test.runner.intent.IntentMonitor;

public final class IntentMonitorImpl implements IntentMonitor {
    public void signalIntent(Intent intent) {}
}
