package gritbook.shell

import java.io.File
import java.net.ServerSocket
import java.util.concurrent.TimeUnit
import org.json.JSONObject
import org.junit.rules.ExternalResource

/** A real depot, the program itself, in a process of its own on loopback. */
class Depot : ExternalResource() {
    private val program = File(System.getProperty("gritbook.native"), "gritbook")
    private val folder: File = File.createTempFile("depot", "").also { it.delete(); it.mkdirs() }
    private var process: Process? = null
    private val port = ServerSocket(0).use { it.localPort }
    val url = "http://127.0.0.1:$port"

    val data get() = File(folder, "data")

    fun start() {
        val started = ProcessBuilder(program.path, "depot", "--data", data.path, "--listen", "127.0.0.1:$port")
            .redirectError(File(folder, "depot.log")).start()
        process = started
        val ready = started.inputStream.bufferedReader().readLine()
        check(ready != null && ready.startsWith("depot ready at")) { "the depot said: $ready; ${File(folder, "depot.log").readText()}" }
    }

    fun stop() {
        process?.destroy()
        process?.waitFor(10, TimeUnit.SECONDS)
        process = null
    }

    class Enrolled(val token: String, val code: String, val picture: File)

    fun enrol(name: String): Enrolled {
        val picture = File(folder, "enrol.png")
        val run = ProcessBuilder(program.path, "enroll", "--data", data.path, "--name", name, "--depot", url, "--qr", picture.path, "--json").start()
        val told = JSONObject(run.inputStream.bufferedReader().readText())
        check(run.waitFor() == 0) { told }
        return Enrolled(told.getString("token"), told.getString("code"), picture)
    }

    /** Photos that the depot has whole, by what their bytes hash to. */
    fun photos(): List<String> = File(data, "photos").listFiles().orEmpty().filter { it.isFile }.map(Photos::sha256)

    override fun after() {
        stop()
        folder.deleteRecursively()
    }
}
